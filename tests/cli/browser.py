# SPDX-License-Identifier: GPL-3.0-or-later
"""Chromium without a window, spoken to over two pipes in its DevTools protocol."""
import base64
import json
import os
import select
import shutil
import signal
import subprocess
import tempfile
import time

PROGRAM = "/usr/bin/chromium"
FLAGS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--disable-extensions", "--disable-dev-shm-usage", "--mute-audio", "--hide-scrollbars",
         "--remote-debugging-pipe"]


class Browser:
    """One page. What the page asks of the network, and what it says, is kept."""

    def __init__(self):
        self.folder = tempfile.mkdtemp(prefix="toneload-browser-")
        to_browser, self.to = os.pipe()
        self.back, from_browser = os.pipe()

        def wire_up():  # the protocol's pipes are descriptors 3 and 4
            high = [os.dup(to_browser), os.dup(from_browser)]
            while min(high) < 5:
                high = [os.dup(one) for one in high]
            os.dup2(high[0], 3)
            os.dup2(high[1], 4)

        self.process = subprocess.Popen(
            [PROGRAM, *FLAGS, f"--user-data-dir={self.folder}/profile", "about:blank"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            close_fds=False, preexec_fn=wire_up, start_new_session=True,
            env={**os.environ, "HOME": self.folder, "XDG_CONFIG_HOME": self.folder,
                 "XDG_CACHE_HOME": self.folder})
        os.close(to_browser)
        os.close(from_browser)
        self.number = 0
        self.rest = b""
        self.requests = []
        self.said = []
        self.loaded = False
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self.session = None
        self.session = self.call("Target.attachToTarget", targetId=target,
                                 flatten=True)["sessionId"]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.call(domain + ".enable")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        os.close(self.to)
        os.close(self.back)
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
        shutil.rmtree(self.folder, ignore_errors=True)

    def note(self, message):
        """Keeps what the page did by itself."""
        what, about = message.get("method"), message.get("params", {})
        if what == "Network.requestWillBeSent":
            self.requests.append(about["request"]["url"])
        elif what == "Runtime.consoleAPICalled":
            self.said.append(str(about["args"]))
        elif what == "Runtime.exceptionThrown":
            self.said.append(str(about["exceptionDetails"]))
        elif what == "Log.entryAdded":
            self.said.append(about["entry"]["text"])
        elif what == "Page.loadEventFired":
            self.loaded = True

    def receive(self, limit_s):
        """The next message; None when time ran out."""
        end = time.monotonic() + limit_s
        while b"\0" not in self.rest:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self.back], [], [], left)[0]:
                return None
            got = os.read(self.back, 1 << 20)
            if not got:
                raise RuntimeError("the browser went away")
            self.rest += got
        text, self.rest = self.rest.split(b"\0", 1)
        return json.loads(text)

    def call(self, method, limit_s=60, **params):
        self.number += 1
        message = {"id": self.number, "method": method, "params": params}
        if getattr(self, "session", None):
            message["sessionId"] = self.session
        os.write(self.to, json.dumps(message).encode() + b"\0")
        end = time.monotonic() + limit_s
        while True:
            answer = self.receive(end - time.monotonic())
            if answer is None:
                raise RuntimeError(f"{method}: no answer in {limit_s} s")
            if answer.get("id") != self.number:
                self.note(answer)
            elif "error" in answer:
                raise RuntimeError(f"{method}: {answer['error']}")
            else:
                return answer["result"]

    def open(self, path, width, height=900, phone=False):
        """Loads a file at a window's width."""
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=2 if phone else 1, mobile=phone)
        self.requests, self.said, self.loaded = [], [], False
        self.call("Page.navigate", url="file://" + os.path.abspath(path))
        end = time.monotonic() + 60
        while not self.loaded:
            message = self.receive(end - time.monotonic())
            if message is None:
                raise RuntimeError("the page does not load")
            self.note(message)

    def ask(self, script):
        """The value of an expression in the page, awaited when it is a promise."""
        answer = self.call("Runtime.evaluate", expression=script, awaitPromise=True,
                           returnByValue=True, userGesture=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"]))
        return answer["result"].get("value")

    def picture(self, path):
        """The whole page as PNG."""
        shot = self.call("Page.captureScreenshot", format="png", captureBeyondViewport=True)
        with open(path, "wb") as file:
            file.write(base64.b64decode(shot["data"]))

    def print(self, path, width_mm, height_mm):
        """The page on paper, with the margins that it asks for, as PDF."""
        made = self.call("Page.printToPDF", paperWidth=width_mm / 25.4,
                         paperHeight=height_mm / 25.4, preferCSSPageSize=False,
                         printBackground=False)
        with open(path, "wb") as file:
            file.write(base64.b64decode(made["data"]))
