"""A simulated bench served in real time, a round against it as a process of its own, and what tests look at after."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import sqlite3
import subprocess
import sys
import termios
import threading
import time
import tty
from pathlib import Path

from autobench.clock import RealClock
from autobench.documents.places import find_bench, find_board
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.devices.instrument import Device

HERE = Path(__file__).parent
# Short enough to be run many times; every phase a kill can strike in is there.
SEQUENCE = """\
sequence: kill
words: power, rails, looks of the scope, a wait, and off again
steps:
  - {step: "ohms {rail}", stage: ohms, measure: ohms, for each: rail}
  - {step: "polarity {rail}", stage: power, power: polarity, for each: rail}
  - {step: power on, stage: power, power: on}
  - {step: "current {rail}", stage: power, measure: current, for each: rail}
  - {step: "rail {rail} {place}", stage: rails, measure: rail, for each: place}
  - {step: "ripple {rail}", stage: rails, measure: ripple, for each: rail}
  - {step: "line {line}", stage: cpu, measure: line, for each: line, side: output}
  - {step: pause, stage: video, wait: 2.5 s}
  - {step: question, stage: video, ask: "Is any part too hot to touch?"}
  - {step: power off, stage: memory, power: off}
"""
PHASES = {
    "power-up": "POWER on",
    "measuring": "STEP rail +5V",
    "looking": "STEP line",  # with nobody there, every instrument works at the same time from `measuring` on
    "waiting": "STEP pause",
    "prompting": "PROMPT question",
    "powering down": "STEP power off",
}
SETTLE = ("settle: 5 s", "settle: 1 s")  # of the board file: what is killed need not wait until its current is right
TYPED_EVERY = 0.2  # s
TRANSPORTS = ("socket", "one connection", "pty", "ignores the first OFF")


class First:
    """True so many times, then false: a supply that ignores the first commands to switch off."""

    def __init__(self, times: int) -> None:
        self.left = times

    def __bool__(self) -> bool:
        self.left -= 1
        return self.left >= 0


class PtyServer:
    """A device behind a pseudo-terminal, as a serial line that never loses its settings."""

    def __init__(self, device: Device, lock: threading.Lock) -> None:
        self.device, self.lock = device, lock
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave, termios.TCSANOW)
        self.address = f"ASRL{os.ttyname(self.slave)}::INSTR"
        self.over = threading.Event()
        self.thread = threading.Thread(target=self.serve, daemon=True)
        self.thread.start()

    def serve(self) -> None:
        waiting = bytearray()
        while not self.over.is_set():
            if not select.select([self.master], [], [], 0.02)[0]:
                continue
            waiting += os.read(self.master, 4096)
            while b"\n" in waiting:
                message, _, rest = bytes(waiting).partition(b"\n")
                waiting = bytearray(rest)
                self.answer(message)

    def answer(self, message: bytes) -> None:
        with self.lock:
            self.device.receive(message, True)
            pending = self.device.reply()
        if pending is None:
            return
        self.device.clock.sleep(pending.ready_at - self.device.clock.now())
        with self.lock:
            data = pending.data
            self.device.take()
        os.write(self.master, data)

    def close(self) -> None:
        self.over.set()
        self.thread.join()
        os.close(self.master)
        os.close(self.slave)


class KillStand:
    """`transport` is how the supply is reached: one of `TRANSPORTS`; the last is a socket to a supply with that fault.

    With `person` somebody is at the run's own terminal, a pseudo-terminal that governs the process.
    """

    def __init__(self, folder: Path, transport: str = "socket", *, person: bool = False) -> None:
        self.folder = folder
        self.transport = transport
        self.person = person
        self.terminal: int | None = None  # our end of it
        self.typing = threading.Event()
        self.served = SimulatedBench.open("tarnbeck-8", options={"video": "late"}, seed=3, clock=RealClock())
        self.supply = self.served.devices["supply"]
        one = ("supply",) if transport == "one connection" else ()
        addresses = self.served.serve_sockets(one_connection=one)
        self.pty: PtyServer | None = None
        if transport == "pty":
            self.pty = PtyServer(self.supply, self.served._lock)
            addresses = {**addresses, "supply": self.pty.address}
        text = find_bench("simulated").read_text(encoding="utf-8").replace("simulated: in-process", "simulated: served")
        for name, address in addresses.items():
            text = text.replace(self.served.addresses[name], address)
        self.bench_file, self.sequence = folder / "served.yaml", folder / "kill.yaml"
        self.bench_file.write_text(text, encoding="utf-8")
        self.board_file = folder / "board.yaml"
        board = find_board("tarnbeck-8").read_text(encoding="utf-8")
        assert SETTLE[0] in board
        self.board_file.write_text(board.replace(*SETTLE), encoding="utf-8")
        self.sequence.write_text(SEQUENCE, encoding="utf-8")
        self.records, self.spoil = folder / "r.sqlite", folder / "spoil"
        self.shown: list[str] = []
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> subprocess.Popen[str]:
        """The round, begun."""
        words = [self.board_file, self.bench_file, self.sequence, self.records, self.spoil]
        command = [sys.executable, str(HERE / "killed_run.py"), *map(str, words), "person" if self.person else "nobody"]
        theirs = subprocess.DEVNULL
        if self.person:
            self.terminal, theirs = os.openpty()
        self.process = subprocess.Popen(
            command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
        )
        if self.person:
            os.close(theirs)
        return self.process

    def until(self, phase: str) -> None:
        """Read what the round shows until `phase` begins; whoever sits there presses the key for power."""
        assert self.process is not None
        while line := self.line():
            self.shown.append(line.rstrip("\n"))
            if line.startswith(PHASES[phase]):
                if self.transport == TRANSPORTS[-1]:
                    self.supply.ignores_off = First(1)  # type: ignore[attr-defined]  # a switch of this one device
                return
            if line.startswith("PROMPT power"):
                self.type("\n")
            if line.startswith("PROMPT question"):
                self.type("y")
        raise AssertionError(f"ended before {phase}: {self.shown[-3:]} {self.process.communicate()[1]}")

    def line(self) -> str:
        """The next line of what the round shows, or nothing at its end; byte by byte, so that none is read ahead that
        `finish` would miss."""
        assert self.process is not None
        assert self.process.stdout is not None
        line = b""
        while not line.endswith(b"\n") and (byte := os.read(self.process.stdout.fileno(), 1)):
            line += byte
        return line.decode()

    def type(self, keys: str) -> None:
        """Keys of whoever sits at the terminal."""
        if self.terminal is not None:
            os.write(self.terminal, keys.encode())

    def close_terminal(self) -> None:
        """The terminal's window is closed: its program is told (SIGHUP) and reads its end."""
        assert self.terminal is not None
        os.close(self.terminal)
        self.terminal = None

    def answer(self) -> None:
        """Yes to whatever is asked, until `typing` is set."""
        while not self.typing.wait(TYPED_EVERY):
            with contextlib.suppress(OSError):  # its end of the terminal is closed
                self.type("y")

    def seconds_to_off(self, since: float, within: float = 3.0) -> float:
        """Seconds from `since` (monotonic) until every output is off by the simulator's truth; negative if before."""
        until = time.monotonic() + within
        while (truth := self.served.truth()).any_on:
            assert time.monotonic() < until, "still on"
            time.sleep(0.005)
        return max(change.time for change in truth.changes if not change.on) - since

    def finish(self, within: float = 30.0) -> int:
        """The rest of what the round shows, and its exit code; no traceback may be among it."""
        assert self.process is not None
        typist = threading.Thread(target=self.answer, daemon=True)
        typist.start()
        try:
            out, err = self.process.communicate(timeout=within)
        finally:
            self.typing.set()
            typist.join()
        self.shown += (out or "").splitlines()
        assert "Traceback" not in err, err
        return self.process.returncode

    def readings_shown(self) -> list[str]:
        """Steps of the readings that were shown, in order."""
        return [line.removeprefix("READING ") for line in self.shown if line.startswith("READING ")]

    def readings_kept(self) -> list[str]:
        """Steps of the readings in the record, in order."""
        connection = sqlite3.connect(self.records)
        try:
            return [step for (step,) in connection.execute("SELECT step FROM readings ORDER BY number")]
        finally:
            connection.close()

    def row(self) -> tuple[str, str | None]:
        """Verdict and reason of the run as any program reads them from the record."""
        connection = sqlite3.connect(self.records)
        try:
            found: tuple[str, str | None] = connection.execute("SELECT verdict, reason FROM runs").fetchone()
            return found
        finally:
            connection.close()

    def close(self) -> None:
        if self.process is not None and self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.kill()
        if self.process is not None:
            self.process.wait()
            for stream in (self.process.stdout, self.process.stderr):
                if stream is not None:
                    stream.close()
        if self.terminal is not None:
            self.close_terminal()
        self.served.close()
        if self.pty is not None:
            self.pty.close()
