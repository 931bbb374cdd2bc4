"""`plybook watch`: rebuild on every save and keep a page in the browser fresh."""

from __future__ import annotations

import argparse
import signal
from functools import partial

from plybook.commands.common import DONE, Progress, effort_argument, out_argument, specs_argument
from plybook.terminal import put, talk

HELP = "rebuild whenever a spec or a file it includes is saved, and show it in the browser"
EXAMPLE = "plybook watch my-panel.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)
    out_argument(parser, "folder to write the parts into")
    effort_argument(parser, "quick")
    parser.add_argument("--port", type=int, default=0, metavar="N", help="of the page; a free one")
    parser.add_argument("--no-page", action="store_true", help="rebuild only, serve no page")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    import threading

    from plybook.watch import Watch, serve

    limits = arguments.outside.limits
    say = partial(talk, lines=True)
    watch = Watch(arguments.specs, arguments.out, limits, arguments.effort, say)
    server = None if arguments.no_page else serve(watch, arguments.port)
    if server is not None:
        put(f"http://127.0.0.1:{server.server_address[1]}/")
    if not arguments.quiet:
        talk("watching; Ctrl-C ends it")
    stop = threading.Event()
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # a build that runs is ended too
    try:
        watch.run(stop)
    except KeyboardInterrupt:
        stop.set()
    finally:
        if server is not None:
            server.shutdown()
            server.server_close()
    return DONE
