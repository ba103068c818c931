"""`yearmark demo`: set up and seeded at the first start, then served. A later start finds everything as it was left."""

import time
from datetime import date
from typing import Any

import click

from server.demo.folder import Found, begin, finish, look_at, read_demo_file, start_over
from server.demo.listing import write_listing
from server.demo.progress import Bar
from server.demo.seed import Account, opening_time, seed
from server.installation.runtime import Runtime
from server.installation.set_up import migrate
from server.jobs.clock import one_pass
from server.queries.clock import clinic_day, clinic_now, set_clock, the_clinic
from server.store.folder_lock import FolderBusy

PORTS_TRIED = 20


class DemoRefused(click.ClickException):
    """A plain message: what is in the way, what to do."""

    exit_code = 2


def run_demo(runtime: Runtime, *, port: int | None, today: date | None) -> None:
    """Prepares the folder and serves until interrupted. `port` None is that of the settings."""
    from server.cli.serving import serve_forever

    chosen = choose_port(runtime.settings.host, runtime.settings.port if port is None else port)
    try:
        prepare(runtime, base_url=base_url_of(runtime.settings.host, chosen), today=today)
        _say_who(runtime)
        serve_forever(runtime, announce=click.echo, port=chosen)
    except FolderBusy as problem:
        raise DemoRefused(f"{problem}. Or give the new demo a folder of its own: --data DIR") from problem


def base_url_of(host: str, port: int) -> str:
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host
    return f"http://{f'[{shown}]' if ':' in shown else shown}:{port}"


def choose_port(host: str, wanted: int) -> int:
    """The wanted port, or the next free one with a word about it; 0 takes any free one."""
    from server.cli.serving import CannotListen, listen

    for port in [wanted, *range(wanted + 1, min(65536, wanted + 1 + PORTS_TRIED))] if wanted else [0]:
        try:
            with listen(host, port) as listener:
                found: int = listener.getsockname()[1]
        except CannotListen:
            continue
        if found != wanted and wanted:
            click.echo(f"Port {wanted} is in use by another program; taking {found}.")
        return found
    raise DemoRefused(f"ports {wanted} to {wanted + PORTS_TRIED} are all in use; choose another with --port")


def prepare(runtime: Runtime, *, base_url: str, today: date | None, patients: int | None = None) -> dict[str, Any]:
    """Everything before serving: a whole clinic in the folder, its clock, its address, and demo.json, whose content is returned."""
    _refuse_live(runtime)  # before its schema is touched
    migrate(runtime)
    with runtime.lock.serving():
        found = _refuse_live(runtime)
        if found is Found.DEMO:
            _go_on(runtime, base_url, today)
            one_pass(runtime)  # what the days since the last start have brought, before the file says what is due
            return write_listing(runtime, read_demo_file(runtime.settings.data).get("accounts", []))
        return _begin(runtime, base_url, today, patients, again=found is Found.UNFINISHED)


def _refuse_live(runtime: Runtime) -> Found:
    found = look_at(runtime)
    if found is Found.LIVE:
        raise DemoRefused(f"{runtime.settings.data} holds a live clinic; give the demo a folder of its own: --data DIR")
    return found


def _begin(runtime: Runtime, base_url: str, today: date | None, patients: int | None, *, again: bool) -> dict[str, Any]:
    if again:
        click.echo("The last start was broken off before the invented clinic was complete; starting it over.")
        start_over(runtime)
    begin(runtime)
    started = time.monotonic()
    more = {} if patients is None else {"patients": patients}
    accounts = seed(runtime, base_url=base_url, today=today, progress=Bar("Inventing a clinic, 20 years of it"), **more)
    content = write_listing(runtime, [_account(each) for each in accounts])
    finish(runtime)
    click.echo(f"The invented clinic is ready after {time.monotonic() - started:.0f} s, in {runtime.settings.data}")
    return content


def _account(account: Account) -> dict[str, str]:
    return {"role": account.role, "email": account.email, "password": account.password}


def _go_on(runtime: Runtime, base_url: str, today: date | None) -> None:
    """A later start: the address may be another, the clock goes on, or forward to the day asked for."""
    with runtime.store.writing() as session:
        clinic = the_clinic(session)
        clinic.base_url = base_url
        real_now = runtime.real_clock()
        now = clinic_now(clinic, real_now)
        if today is not None and today > clinic_day(clinic, now):
            set_clock(clinic, opening_time(today), real_now)
        elif today is not None and today < clinic_day(clinic, now):
            shown = clinic_day(clinic, now)
            click.echo(
                f"This demo's clock already shows {shown} and only goes forward. Another --data folder can begin earlier."
            )


def _say_who(runtime: Runtime) -> None:
    content = read_demo_file(runtime.settings.data)
    click.echo(
        "A demonstration: the clinic and everybody in it are invented. Never enter anything about a real person."
    )
    for account in content.get("accounts", []):
        click.echo(f"  {account['role'].replace('_', ' '):<13} {account['email']:<24} {account['password']}")
    click.echo(f"  All links of patients: {runtime.settings.data / 'demo.json'}")
