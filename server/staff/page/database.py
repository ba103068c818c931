"""The staff pages' sessions, by Flask-SQLAlchemy: one for each application context, over an engine with the data folder's recipe."""

from collections.abc import Iterator
from contextlib import contextmanager

from flask import Flask, current_app
from flask_sqlalchemy import SQLAlchemy
from sqlalchemy import event
from sqlalchemy.engine import make_url
from sqlalchemy.orm import Session

from server.crypto.fields import FieldRing
from server.installation.runtime import Runtime
from server.store.base import Base
from server.store.engine import engine_options, prepare_engine, read_only, sealed_fields

db = SQLAlchemy(model_class=Base, disable_autonaming=True)


def connect_database(app: Flask, runtime: Runtime) -> None:
    """Once for an application. Its engine is the extension's own; lock and pragmas are those of every other engine here."""
    url = make_url(runtime.settings.database_url)
    app.config["SQLALCHEMY_DATABASE_URI"] = url
    app.config["SQLALCHEMY_ENGINE_OPTIONS"] = engine_options(url)
    db.init_app(app)
    with app.app_context():
        pages = db.engine
    prepare_engine(pages, runtime.lock)
    # Whoever closes the runtime's connections closes these too.
    event.listen(runtime.store.engine, "engine_disposed", lambda _engine: pages.dispose())


@contextmanager
def reading() -> Iterator[Session]:
    """A consistent view that takes no lock. Nothing may be written. Not within another session of the same request."""
    with sealed_fields(_ring()), db.session.no_autoflush:
        db.session.connection(execution_options=read_only(db.engine))
        try:
            yield db.session()
        finally:
            db.session.remove()


@contextmanager
def writing() -> Iterator[Session]:
    """One write transaction: committed at the end, rolled back on any exception. Never mail or hash a password inside."""
    with sealed_fields(_ring()):
        try:
            with db.session.begin():
                yield db.session()
        finally:
            db.session.remove()


def _ring() -> FieldRing:
    runtime: Runtime = current_app.extensions["yearmark"]
    return runtime.store.ring
