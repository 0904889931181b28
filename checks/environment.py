"""An environment of their own for checks: made where it is missing, and gone on in."""
import os
import pathlib
import subprocess
import sys
import venv


def enter(script, folder, packages, variable):
    """Starts `script` again, with the same arguments, by the interpreter of the environment in `folder`, which is made with `packages` where it is missing; the
    environment variable `variable` names one that is there already. Returns where the script runs by that interpreter."""
    env = pathlib.Path(os.environ.get(variable, folder))
    if pathlib.Path(sys.prefix).resolve() == env.resolve():
        return
    python = env / "bin" / "python"
    if not python.exists():
        venv.create(env, with_pip=True)
        subprocess.run([python, "-m", "pip", "install", "-q", *packages], check=True)
    sys.exit(subprocess.run([python, script, *sys.argv[1:]]).returncode)
