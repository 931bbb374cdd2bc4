"""`plybook watch`: rebuild on every save and keep a page in the browser fresh."""

from __future__ import annotations

import argparse
import sys

from plybook.commands.common import DONE, Progress, effort_argument, out_argument, specs_argument

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

    from plybook import report
    from plybook.watch import Watch, serve

    unicode = report.wants_unicode(sys.stderr)

    def say(text: str) -> None:
        for line in text.split("\n"):
            print(report.plain(line, unicode), file=sys.stderr, flush=True)

    limits = arguments.outside.limits
    watch = Watch(arguments.specs, arguments.out, limits, arguments.effort, say)
    server = None if arguments.no_page else serve(watch, arguments.port)
    if server is not None:
        print(f"http://127.0.0.1:{server.server_address[1]}/", flush=True)
    if not arguments.quiet:
        print("watching; Ctrl-C ends it", file=sys.stderr, flush=True)
    stop = threading.Event()
    try:
        watch.run(stop)
    except KeyboardInterrupt:
        stop.set()
    finally:
        if server is not None:
            server.shutdown()
            server.server_close()
    return DONE
