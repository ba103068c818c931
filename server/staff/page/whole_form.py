"""A form is read whole or refused. What was cut off on its way would else arrive as an empty form, which says something else."""

from typing import IO, Any

from werkzeug.exceptions import BadRequest
from werkzeug.formparser import FormDataParser


class WholeForm(FormDataParser):
    """Raises BadRequest for a body that ends in the middle, and closes the files that it had begun."""

    def parse(self, stream: IO[bytes], mimetype: str, content_length: int | None, options: Any = None) -> Any:
        """Files already begun are closed on any problem; a body that is cut off is the sender's fault, so it is a BadRequest."""
        opened: list[IO[bytes]] = []
        make, self.silent = self.stream_factory, False

        def keep(*given: Any, **named: Any) -> IO[bytes]:
            opened.append(make(*given, **named))
            return opened[-1]

        self.stream_factory = keep
        try:
            return super().parse(stream, mimetype, content_length, options)
        except Exception as problem:
            for each in opened:
                each.close()
            if isinstance(problem, ValueError):
                raise BadRequest() from problem
            raise
