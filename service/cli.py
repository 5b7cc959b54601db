"""The command line: ``lotproof serve | token | demo | generate | audit | evidence |
recheck | validate | export-openapi``.

What a command needs is imported inside it, so that `lotproof token` answers at
once without loading a server.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Sequence
from pathlib import Path

import msgspec

from schemas.audit import AuditHead
from service.errors import OperatorError, ServiceError
from service.settings import Settings, environment_variables, read_settings
from service.tokens import SCOPES, create_token, list_tokens, revoke_token

DEFAULT_PORT = 8080
DEFAULT_CONTRACT = Path("openapi/openapi.json")

_log = logging.getLogger("service")


def main(arguments: Sequence[str] | None = None) -> int:
    """
    Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without the program's name; default: those of the process.

    Returns
    -------
    int
        Exit code: 0 done, 1 refused or failed (the reason on standard error),
        2 wrong usage.
    """
    args = _parser().parse_args(arguments)
    # Before numpy is loaded. Matrices of a few rows gain nothing from threads; on a busy
    # computer threads that wait for each other make small fits ten times slower.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code: int = args.run(args)
    except (ServiceError, OperatorError) as refusal:
        return _refuse(str(refusal))
    except KeyboardInterrupt:
        return 130
    return code


def serve(args: argparse.Namespace) -> int:
    """Serve a data directory until the process is told to stop."""
    from service.app import build_app
    from service.data_lock import hold_data_directory
    from service.server import bind, run, url_of

    settings = _settings(args.data)
    configure_logging(settings.log_level)
    with hold_data_directory(settings.data_directory):
        listener = bind(args.host, args.port)
        print(f"lotproof serves {settings.data_directory} at {url_of(listener)}", file=sys.stderr)
        run(build_app(settings), listener)
    return 0


def make_token(args: argparse.Namespace) -> int:
    """Make a token and print it, and nothing else, on standard output."""
    try:
        _, text = create_token(args.data, name=args.name, kind=args.kind, scopes=args.scope)
    except msgspec.ValidationError as refusal:
        return _refuse(str(refusal))
    print(text)
    return 0


def show_tokens(args: argparse.Namespace) -> int:
    """List the tokens of a data directory, one a line, without their secrets."""
    for token in list_tokens(args.data):
        fields = [token.token_id, token.created_at.isoformat(), token.kind]
        print("\t".join([*fields, ",".join(token.scopes), token.name]))
    return 0


def remove_token(args: argparse.Namespace) -> int:
    """Revoke a token; a running service refuses it from then on."""
    if not revoke_token(args.data, args.token_id):
        return _refuse(f"there is no token {args.token_id!r} in {args.data}")
    return 0


def export_openapi(args: argparse.Namespace) -> int:
    """Write the contract, or with --check tell whether the committed one is current."""
    from service.api.contract import contract_text
    from service.app import build_app

    # The contract depends on no setting, and nothing is opened to make it.
    text = contract_text(build_app(Settings(data_directory=Path(os.devnull))))
    out: Path = args.out
    if not args.check:
        out.parent.mkdir(parents=True, exist_ok=True)
        out.write_text(text, encoding="utf-8")
        return 0
    if not out.exists() or out.read_text(encoding="utf-8") != text:
        return _refuse(f"{out} is not what the routes say; run lotproof export-openapi")
    return 0


def verify_audit(args: argparse.Namespace) -> int:
    """Check the audit trail of a data directory that no service has open."""
    from service.workflows.audit_trail import report_of_directory

    report = report_of_directory(_settings(args.data), args.head)
    print(f"{report.link_count} links, end of the trail {report.head.position}:{report.head.link}")
    if report.is_intact:
        return 0
    return _refuse(str(report.difference))


def verify_evidence(args: argparse.Namespace) -> int:
    """Check an evidence pack with nothing but itself."""
    from service.workflows.verify_pack import verify_pack

    report = verify_pack(args.file, args.key)
    for name in report.checked:
        print(f"sound: {name}")
    for note in report.not_checked:
        print(f"not checked: {note}")
    if not report.key_is_known:
        print("the key is the pack's own; --key PUBLIC_KEY would show who signed")
    return 0 if report.is_sound else _refuse(str(report.difference))


def recheck_decisions(args: argparse.Namespace) -> int:
    """Compute every recorded verdict of a data directory again and tell what differs."""
    from service.workflows.recheck import recheck_directory

    report = recheck_directory(_settings(args.data))
    for each in report.decisions:
        said = "same" if each.agrees else each.not_rechecked or "differs"
        fields = [each.decision_id, each.lot_number, each.recorded_verdict, str(said)]
        print("\t".join([*fields, ",".join([*each.changed_units, *each.changed_figures])]).rstrip())
    if report.differing_count == 0:
        return 0
    return _refuse(f"{report.differing_count} of {report.decision_count} verdicts differ")


def validate_copy(args: argparse.Namespace) -> int:
    """Let the installed copy check itself, or check the signature of an earlier protocol."""
    from service.validation.command import Asked, validate
    from service.validation.protocol import read_protocol

    if args.check is None:
        wanted = {"lots": args.lot} if args.lot else {}
        protocol, out = validate(
            Asked(data=args.data, out=args.out, run_by=args.name or msgspec.UNSET, **wanted)
        )
        print(f"protocol: {out}, signed with key {protocol.signed_with} ({protocol.key_origin})")
    else:
        protocol = read_protocol(args.check, args.key)
        print(f"sound: the signature of {args.check}, key {protocol.signed_with}")
        if args.key is None:
            print("the key is the protocol's own; --key PUBLIC_KEY would show who signed")
    for step in protocol.steps:
        result = "passed" if step.passed else f"FAILED, {step.differing_count} differ"
        print(f"{step.name}: {step.compared_count} compared, {result}")
        for note in step.notes:
            print(f"  {note}")
    failed = next((step for step in protocol.steps if not step.passed), None)
    return 0 if failed is None else _refuse(f"{failed.name}: {failed.first_difference}")


def demo(args: argparse.Namespace) -> int:
    """Run the invented demo through the real service."""
    from service.demo.command import run_demo

    return run_demo(args) or 0


def generate(args: argparse.Namespace) -> int:
    """Write the Parquet file of a demo lot, with the truth about it."""
    from service.demo.generator_command import run_generate

    return run_generate(args) or 0


def configure_logging(level: str) -> None:
    """Log to standard error, one line per event; requests are not logged."""
    logging.basicConfig(level=level, format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger("uvicorn").setLevel(max(logging.WARNING, logging.getLevelName(level)))


def _settings(data: Path | None) -> Settings:
    return read_settings(os.environ, data_directory=data)


def _refuse(message: str) -> int:
    print(f"lotproof: {message}", file=sys.stderr)
    return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="lotproof",
        description="From the rows that endurance rigs wrote to a lot verdict.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    _add_serve(commands)
    _add_token(commands)
    _add_demo(commands)
    _add_generate(commands)
    _add_audit(commands)
    _add_evidence(commands)
    again = commands.add_parser("recheck", help="compute every recorded verdict again")
    again.add_argument("--data", type=Path, required=True, metavar="DIR")
    again.set_defaults(run=recheck_decisions)
    _add_validate(commands)
    export = commands.add_parser("export-openapi", help="write the contract of the interface")
    export.add_argument("--out", type=Path, default=DEFAULT_CONTRACT, metavar="FILE")
    export.add_argument("--check", action="store_true", help="write nothing; fail if it differs")
    export.set_defaults(run=export_openapi)
    return parser


def _add_serve(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    lines = [f"  {name}\n      {meaning}" for name, meaning in environment_variables().items()]
    command = commands.add_parser(
        "serve",
        help="serve a data directory",
        epilog="environment:\n" + "\n".join(lines),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    command.add_argument("--data", type=Path, metavar="DIR", help="data directory")
    command.add_argument("--host", default="127.0.0.1", metavar="H", help="address to listen on")
    command.add_argument("--port", type=_port, default=DEFAULT_PORT, metavar="P", help="0: any")
    command.set_defaults(run=serve)


def _add_token(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    token = commands.add_parser("token", help="make, list and revoke bearer tokens")
    actions = token.add_subparsers(required=True, metavar="ACTION")
    create = actions.add_parser("create", help="make a token and print it once")
    create.add_argument("--data", type=Path, required=True, metavar="DIR")
    create.add_argument("--name", required=True, help="who will use it")
    create.add_argument("--scope", action="append", required=True, choices=SCOPES)
    create.add_argument(
        "--kind", type=str.upper, choices=["SYSTEM", "PERSON"], default="SYSTEM", help="who"
    )
    create.set_defaults(run=make_token)
    show = actions.add_parser("list", help="list the tokens")
    show.add_argument("--data", type=Path, required=True, metavar="DIR")
    show.set_defaults(run=show_tokens)
    revoke = actions.add_parser("revoke", help="revoke a token")
    revoke.add_argument("--data", type=Path, required=True, metavar="DIR")
    revoke.add_argument("token_id", metavar="TOKEN_ID")
    revoke.set_defaults(run=remove_token)


def _add_demo(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("demo", help="see invented lots accepted and refused")
    command.add_argument("--data", type=Path, metavar="DIR", help="keep the store here")
    command.add_argument("--once", action="store_true", help="end after the table of verdicts")
    command.add_argument("--host", default="127.0.0.1", metavar="H")
    command.add_argument("--port", type=_port, default=DEFAULT_PORT, metavar="P")
    command.set_defaults(run=demo)


def _add_generate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("generate", help="write the rows of a demo lot")
    command.add_argument("--lot", required=True, metavar="LOT", help="for example L03")
    command.add_argument(
        "--scale", type=float, default=1.0, metavar="X", help="1.0 is 200,000 planned cycles"
    )
    command.add_argument(
        "--rows", type=int, metavar="N", help="one single file of at least so many rows instead"
    )
    command.add_argument("--out", type=Path, required=True, metavar="DIR")
    command.set_defaults(run=generate)


def _add_audit(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    audit = commands.add_parser("audit", help="check the audit trail")
    actions = audit.add_subparsers(required=True, metavar="ACTION")
    verify = actions.add_parser("verify", help="recompute every link and compare every fact")
    verify.add_argument("--data", type=Path, required=True, metavar="DIR")
    verify.add_argument(
        "--head", type=_head, metavar="POSITION:LINK", help="an end that was noted down earlier"
    )
    verify.set_defaults(run=verify_audit)


def _add_evidence(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    evidence = commands.add_parser("evidence", help="check the evidence of a verdict")
    actions = evidence.add_subparsers(required=True, metavar="ACTION")
    verify = actions.add_parser("verify", help="check a pack offline and compute it again")
    verify.add_argument("file", type=Path, metavar="FILE")
    verify.add_argument("--key", metavar="PUBLIC_KEY", help="public key of /v1/keys, in base64")
    verify.set_defaults(run=verify_evidence)


def _add_validate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    command = commands.add_parser("validate", help="let the installed copy check itself")
    command.add_argument("--data", type=Path, metavar="DIR", help="sign with this one's key")
    command.add_argument("--out", type=Path, metavar="FILE", help="protocol; a new file")
    command.add_argument("--name", help="who runs it, as the protocol will say")
    command.add_argument("--lot", action="append", metavar="LOT", help="only these demo lots")
    command.add_argument("--check", type=Path, metavar="FILE", help="check an earlier protocol")
    command.add_argument("--key", metavar="PUBLIC_KEY", help="with --check: key that is trusted")
    command.set_defaults(run=validate_copy)


def _head(text: str) -> AuditHead:
    position, _, link = text.partition(":")
    if not position.isdecimal() or not link:
        raise argparse.ArgumentTypeError(f"{text!r} is no POSITION:LINK")
    return AuditHead(position=int(position), link=link)


def _port(text: str) -> int:
    port = int(text) if text.isdecimal() else -1
    if not 0 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; ports are 0 to 65535")
    return port
