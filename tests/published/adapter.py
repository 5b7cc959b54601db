"""What each published case asks of the product: method name to the function that answers it.

No case is treated apart: a method's function turns the inputs into arguments and the result
into the names the cases use, nothing else. The functions stand in the files beside this one,
``answers_<topic>.py``, each with a table METHODS; they are loaded by path, so that this file
works wherever it is loaded from.
"""

import importlib.util
from collections.abc import Callable
from pathlib import Path
from typing import Any

Values = dict[str, Any]


def _methods_of(path: Path) -> dict[str, Callable[[Values], Values]]:
    spec = importlib.util.spec_from_file_location(f"published_{path.stem}", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    methods: dict[str, Callable[[Values], Values]] = module.METHODS
    return methods


def _all_methods() -> dict[str, Callable[[Values], Values]]:
    merged: dict[str, Callable[[Values], Values]] = {}
    for path in sorted(Path(__file__).parent.glob("answers_*.py")):
        methods = _methods_of(path)
        assert not merged.keys() & methods.keys(), path.name
        merged.update(methods)
    return merged


METHODS = _all_methods()
