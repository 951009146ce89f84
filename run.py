"""Start Aerobe, or prove it, on a bare machine with Python and git only: standard library, nothing installed outside this folder.

    python3 run.py demo     installs what is needed here, makes an invented notebook, serves its page
    python3 run.py test     installs what the tests need too, and runs all of them
    python3 run.py night    the long versions of checks that `test` makes short
    python3 run.py mutate   changes formulas one by one and asks the tests whether they notice; hours, or minutes with --jobs 16
    python3 run.py docs     writes a searchable site of the guide and of every function at a door

On Windows write `py run.py demo`. All are safe to repeat. What follows `test` goes to pytest: `python3 run.py test -k oxygen`.
"""

# The syntax of this file stays old, so that an old Python can read it and say what is wrong.
import datetime
import hashlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
import webbrowser

HERE = os.path.dirname(os.path.abspath(__file__))
HOME = os.path.join(HERE, ".aerobe")
ENVIRONMENT = os.path.join(HOME, "env")
FIRST_PORT = 8642
OLDEST, NEWEST = (3, 11), (3, 14)
LOCKS = {"demo": ["requirements.lock"], "test": ["requirements-dev.lock"]}
TASKS = {"demo": "demo", "test": "test", "night": "test", "mutate": "test", "docs": "test"}  # and which packages each needs


def main(words):
    if not words or words[0] not in TASKS:
        print(__doc__.strip())
        return 2
    check_python()
    python, rest = environment(TASKS[words[0]]), words[1:]
    if words[0] == "night":
        return call([python, "-m", "pytest", "-rs", "-m", "night"] + rest)
    if words[0] == "docs":
        return call([python, os.path.join(HERE, "docs", "site.py")] + rest)
    if words[0] == "mutate":
        return call([python, "-m", "tests.mutants"] + rest)
    return demo(python, rest) if words[0] == "demo" else test(python, rest)


def check_python():
    if sys.version_info[:2] < OLDEST:
        leave(
            "This is Python %d.%d; Aerobe needs %d.%d or newer." % (sys.version_info[:2] + OLDEST),
            "Install a newer Python and name it: python3.%d run.py demo" % OLDEST[1],
        )
    if sys.version_info[:2] > NEWEST:
        print("Python %d.%d is newer than those Aerobe was tried with; some parts may not install." % sys.version_info[:2])
    try:
        import ensurepip  # noqa: F401
        import venv  # noqa: F401
    except ImportError:
        leave(
            "This Python lacks the module that makes local environments (venv).",
            "On Debian or Ubuntu: sudo apt install python3-venv. Elsewhere reinstall Python with pip.",
        )


def environment(what):
    """The Python of the local environment, with everything that the lock files name; installs only what has changed."""
    python = os.path.join(ENVIRONMENT, "Scripts", "python.exe") if os.name == "nt" else os.path.join(ENVIRONMENT, "bin", "python")
    wanted = fingerprint(LOCKS[what])
    stamp = os.path.join(ENVIRONMENT, what + ".stamp")
    if works(python) and read(stamp) == wanted:
        return python
    began = time.time()
    if not works(python):
        shutil.rmtree(ENVIRONMENT, ignore_errors=True)
        print("Making a local environment in %s ..." % os.path.relpath(ENVIRONMENT, HERE))
        run([sys.executable, "-m", "venv", ENVIRONMENT], "The local environment could not be made.", "Read the lines above.")
    print("Installing the locked packages (some minutes the first time) ...")
    pip = [python, "-m", "pip", "--disable-pip-version-check", "install", "--quiet"]
    files = [word for lock in LOCKS[what] for word in ("-r", os.path.join(HERE, lock))]
    run(
        pip + ["--require-hashes"] + files,
        "The packages could not be installed.",
        "Is the internet reachable, and 2 GB of disk free? Then run the same command again; it goes on where it stopped.",
    )
    run(pip + ["--no-deps", "--no-build-isolation", "-e", HERE], "Aerobe itself could not be installed.", "Read the lines above.")
    with open(stamp, "w") as stream:
        stream.write(wanted)
    print("Installed in %.0f s." % (time.time() - began))
    return python


def demo(python, words):
    """Make today's invented notebook, if it is not there, and serve it."""
    os.environ.setdefault("AEROBE_HOME", HOME)  # the demo leaves nothing in your home folder
    notebook = os.path.join(HOME, "demo-%s.notebook" % datetime.date.today().isoformat())
    run([python, "-m", "aerobe", "demo", notebook], "The demo could not be made.", "Read the lines above.")
    port = free_port()
    page = "http://127.0.0.1:%d/" % port
    server = subprocess.Popen([python, "-m", "aerobe", "serve", "--notebook", notebook, "--port", str(port)] + words, cwd=HERE)
    try:
        if answers(port, server):
            print("\nThe notebook page: %s\nStop with Ctrl-C." % page)
            if not show(page):
                print("No browser could be opened here; open that address in one.")
            sys.stdout.flush()
        return server.wait()
    except KeyboardInterrupt:
        server.wait()
        return 0


def answers(port, server):
    """Wait until the page can be reached, or the server has given up."""
    for _ in range(600):
        if server.poll() is not None:
            return False
        with socket.socket() as probe:
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return True
        time.sleep(0.1)
    return False


def show(page):
    # Without a screen, `webbrowser` would start a text browser in this very terminal.
    if sys.platform.startswith("linux") and not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")):
        return False
    return webbrowser.open(page)


def test(python, words):
    """All tests, and lint and types beside them; what cannot run on this machine is said before and again at the end."""
    # Python keeps what it compiled: the tests start many programs, and each would compile everything anew.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    for missing in what_is_missing():
        print(missing)
    sys.stdout.flush()
    beside = None if words else Beside(python)
    # The whole suite on two cores, each with tests that follow one another, so that what they share is made once; part of it as
    # it comes, so that a fault is seen at once.
    side_by_side = [] if words or (os.cpu_count() or 1) < 2 else ["-n", "2", "--dist", "worksteal"]
    code = call([python, "-m", "pytest", "-rs"] + side_by_side + words)
    faults = beside.faults() if beside else []
    if faults:
        print("Not clean: %s (see above)." % " and ".join(faults))
    return code or (1 if faults else 0)


class Beside:
    """Lint, layout and types, looked at while the tests run: alone they would leave a core without work for a minute."""

    CHECKS = (
        ("types", ["mypy"]),
        ("lint", ["ruff", "check", "."]),
        ("layout", ["ruff", "format", "--check", "--quiet", "."]),
    )

    def __init__(self, python):
        self.python, self.ended = python, []
        # Two type checkers at once would stand in each other's cache: a test that starts one waits for this file.
        self.over = os.path.join(tempfile.mkdtemp(), "over")
        os.environ["CHECKS_BESIDE_TESTS_OVER"] = self.over
        self.thread = threading.Thread(target=self.look)
        self.thread.start()

    def look(self):
        """Look at all, and say that it is over however it ended."""
        try:
            self.look_at_each()
        finally:
            with open(self.over, "w"):
                pass

    def look_at_each(self):
        """Whoever fails says so at once, in one piece."""
        for name, rest in self.CHECKS:
            words = [self.python, "-m"] + rest
            done = subprocess.run(words, cwd=HERE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, check=False)
            if done.returncode:
                sys.stdout.write("\nNot clean: %s.\n%s\n" % (name, done.stdout.decode("utf-8", "replace")))
                sys.stdout.flush()
            self.ended.append((name, done.returncode))

    def faults(self):
        """What was not clean, once all were looked at; one that could not be looked at is not clean."""
        self.thread.join()
        shutil.rmtree(os.path.dirname(self.over), ignore_errors=True)
        clean = [name for name, code in self.ended if code == 0]
        return [name for name, _ in self.CHECKS if name not in clean]


def what_is_missing():
    """Programs that some tests need and that pip cannot bring."""
    names = {
        "chromium": (["chromium", "chromium-browser", "google-chrome"], "the pages are not tried in a browser", "chromium"),
        "mosquitto": (["mosquitto"], "sensors over MQTT are not tried", "mosquitto"),
        "mount": (["mount"], "full and read-only disks are not tried", "mount"),
        "pdftotext": (["pdftotext"], "the text of PDF reports is not read back", "poppler-utils"),
    }
    places = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])
    for name, (programs, effect, package) in sorted(names.items()):
        if not any(shutil.which(program, path=places) for program in programs):
            yield "There is no %s here: %s. On Debian: sudo apt install %s" % (name, effect, package)
    folder = "/usr/lib/postgresql"
    if not (shutil.which("initdb") or (os.path.isdir(folder) and os.listdir(folder))):
        yield "There is no PostgreSQL here: the notebook is tried on SQLite only. On Debian: sudo apt install postgresql"


def free_port():
    for port in range(FIRST_PORT, FIRST_PORT + 20):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                print("Port %d is in use by another program; trying the next." % port)
                continue
            return port
    leave("Ports %d to %d are all in use." % (FIRST_PORT, FIRST_PORT + 19), "Stop an Aerobe that still runs, and try again.")


def fingerprint(locks):
    digest = hashlib.sha256(sys.version.encode())
    for name in locks + ["pyproject.toml"]:
        with open(os.path.join(HERE, name), "rb") as stream:
            digest.update(stream.read())
    return digest.hexdigest()


def works(python):
    return os.path.exists(python) and subprocess.call([python, "-c", "import pip"], stderr=subprocess.DEVNULL) == 0


def read(path):
    try:
        with open(path) as stream:
            return stream.read()
    except OSError:
        return ""


def run(words, problem, remedy):
    if call(words):
        leave(problem, remedy)


def call(words):
    try:
        return subprocess.call(words, cwd=HERE)
    except KeyboardInterrupt:
        return 130


def leave(problem, remedy):
    sys.stderr.write("\n%s\n%s\n" % (problem, remedy))
    sys.exit(3)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
