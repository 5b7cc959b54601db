"""No figure that decides a verdict has a default: a default is a decision that nobody made."""

import ast

from product_source import functions, name_of, python_files, tree_of

DECIDING = {
    "allowed_failures",
    "assumed_shape",
    "confidence",
    "planned_cycles",
    "reliability",
    "shape",
    "shape_high",
    "shape_low",
    "target_cycles",
}


def test_no_function_gives_a_deciding_figure_a_default() -> None:
    offenders = [
        f"{name_of(path)}:{function.lineno} {function.name}({name})"
        for path in python_files()
        for function in functions(tree_of(path))
        for name in defaulted_parameters(function.args)
        if name in DECIDING
    ]
    assert offenders == []


def test_no_struct_gives_a_deciding_figure_a_value() -> None:
    offenders = [
        f"{name_of(path)}:{field.lineno} {name}"
        for path in python_files()
        for field, name in valued_fields(tree_of(path))
        if name in DECIDING
    ]
    assert offenders == []


def test_a_default_is_seen_wherever_it_stands() -> None:
    tree = ast.parse(
        "def f(a, shape=2.0, *, confidence=0.9, reliability): ...\n"
        "class S:\n    shape: float | None = None\n    target_cycles: int = 1\n"
    )
    (function,) = functions(tree)
    assert defaulted_parameters(function.args) == ["shape", "confidence"]
    assert [name for _, name in valued_fields(tree)] == ["target_cycles"]


def defaulted_parameters(arguments: ast.arguments) -> list[str]:
    """Names of the parameters that have a default, whatever it is."""
    positional = [*arguments.posonlyargs, *arguments.args]
    tail = positional[len(positional) - len(arguments.defaults) :]
    keyword_only = zip(arguments.kwonlyargs, arguments.kw_defaults, strict=True)
    return [argument.arg for argument in tail] + [
        argument.arg for argument, default in keyword_only if default is not None
    ]


def valued_fields(tree: ast.Module) -> list[tuple[ast.AnnAssign, str]]:
    """Annotated class fields with a value; None and UNSET mean absent and are no value."""
    return [
        (field, field.target.id)
        for cls in ast.walk(tree)
        if isinstance(cls, ast.ClassDef)
        for field in cls.body
        if isinstance(field, ast.AnnAssign)
        and isinstance(field.target, ast.Name)
        and field.value is not None
        and ast.unparse(field.value) not in {"None", "UNSET", "msgspec.UNSET"}
    ]
