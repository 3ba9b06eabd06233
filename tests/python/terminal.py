"""Runs a command on a terminal of its own and prints what appears there.

    python terminal.py COMMAND …

Exits as the command does.
"""

import os
import pty
import sys


def main(command):
    child, terminal = pty.fork()
    if child == 0:
        os.execv(command[0], command)
    heard = []
    while True:
        try:
            data = os.read(terminal, 4096)
        except OSError:
            # So a terminal ends on Linux.
            break
        if not data:
            break
        heard.append(data)
    status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    sys.stdout.buffer.write(b"".join(heard))
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
