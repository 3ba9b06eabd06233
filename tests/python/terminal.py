"""Runs a command on a terminal of its own and prints what appears there, as it appears.

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
    while True:
        try:
            data = os.read(terminal, 4096)
        except OSError:
            # So a terminal ends on Linux.
            break
        if not data:
            break
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
