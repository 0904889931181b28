"""The program's own surface: `name --batch` on a list of lines, answers in order."""
import json, resource, subprocess, tempfile

OPEN = [40, 45, 50, 55, 59, 64]


def batch(program, lines):
    """The answers, and the processor seconds of the whole call."""
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as f:
        f.write("".join(line + "\n" for line in lines))
        f.flush()
        start = resource.getrusage(resource.RUSAGE_CHILDREN)
        out = subprocess.run([program, "name", "--batch", f.name], stdout=subprocess.PIPE, text=True)
        end = resource.getrusage(resource.RUSAGE_CHILDREN)
    answers = [json.loads(line) for line in out.stdout.splitlines()]
    assert out.returncode in (0, 1) and len(answers) == len(lines), (out.returncode, len(answers), len(lines))
    return answers, end.ru_utime + end.ru_stime - start.ru_utime - start.ru_stime


def over_one_note(classes, root=0, **fields):
    """A line whose notes are these classes, one a string, lowest `root`: eight strings tuned alike, so that any seven notes can be asked about."""
    notes = [root] + [root + c for c in sorted(classes) if c]
    frets = [str(n) for n in notes] + ["x"] * (8 - len(notes))
    return ";".join([" ".join(frets), "tuning=" + " ".join(["C2"] * 8)] + [f"{k}={v}" for k, v in fields.items()])
