"""A bench that was started by a check, and requests as its page sends them."""
import http.client
import json
import subprocess
import time


class Bench:
    def __init__(self, program, *args):
        self.child = subprocess.Popen([program, "open", *map(str, args), "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        told = self.child.stdout.readline()
        self.why = None
        if not told:
            self.child.wait()
            self.why = self.child.stderr.read()
            return
        self.host, key = json.loads(told)["address"].removeprefix("http://").split("/?key=")
        self.cookie = ""
        self.line = http.client.HTTPConnection(self.host, timeout=30)
        _, _, answer = self.ask("GET", f"/?key={key}")
        self.cookie = answer.headers["set-cookie"].split(";")[0]

    def ask(self, method, path, body=None, kind="application/json"):
        head = {"Cookie": self.cookie, "Origin": f"http://{self.host}"}
        if body is not None:
            head["Content-Type"] = kind
            body = body if isinstance(body, bytes) else json.dumps(body).encode()
        try:
            self.line.request(method, path, body, head)
            answer = self.line.getresponse()
        except (BrokenPipeError, ConnectionResetError, http.client.RemoteDisconnected):
            # The line was closed behind an answer before.
            self.line.close()
            self.line.request(method, path, body, head)
            answer = self.line.getresponse()
        return answer.status, answer.read(), answer

    def state(self):
        return json.loads(self.ask("GET", "/state")[1])

    def type(self, old, new):
        """Puts `new` in place of `old`; gives the status."""
        state = self.state()
        at = state["text"].index(old)
        return self.ask("POST", "/text", {"version": state["version"], "start": at, "end": at + len(old), "with": new})[0]

    def post(self, path, body=None):
        status, answer, _ = self.ask("POST", path, body if body is not None else {})
        return status, json.loads(answer) if answer[:1] == b"{" else answer.decode(errors="replace")

    def until(self, what, so, seconds=15):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            state = self.state()
            if so(state):
                return state
            time.sleep(0.05)
        raise AssertionError(f"not within {seconds} s: {what}; {({k: v for k, v in state.items() if k not in ('passages', 'text')})}")

    def end(self):
        """Killed, as by the system; gives what it said on standard error."""
        self.child.kill()
        return self.child.communicate()[1]
