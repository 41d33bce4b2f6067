"""A simulated bench served in real time, a round against it as a process of its own, and what tests look at after."""

from __future__ import annotations

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
from autobench.documents.places import find_bench
from simulated_instruments.bench import SimulatedBench
from simulated_instruments.devices.instrument import Device

HERE = Path(__file__).parent
# Short enough to be run many times; every phase a kill can strike in is there.
SEQUENCE = """\
sequence: kill
words: power, rails, a wait, and off again
steps:
  - {step: "ohms {rail}", stage: ohms, measure: ohms, for each: rail}
  - {step: "polarity {rail}", stage: power, power: polarity, for each: rail}
  - {step: power on, stage: power, power: on}
  - {step: "current {rail}", stage: power, measure: current, for each: rail}
  - {step: "rail {rail} {place}", stage: rails, measure: rail, for each: place}
  - {step: pause, stage: video, wait: 2.5 s}
  - {step: power off, stage: memory, power: off}
"""
PHASES = {
    "power-up": "POWER on",
    "measuring": "STEP rail +5V",
    "waiting": "STEP pause",
    "powering down": "STEP power off",
}


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
    """`transport` is how the supply is reached: `socket`, `one connection` or `pty`."""

    def __init__(self, folder: Path, transport: str = "socket") -> None:
        self.folder = folder
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
        self.sequence.write_text(SEQUENCE, encoding="utf-8")
        self.records, self.spoil = folder / "r.sqlite", folder / "spoil"
        self.shown: list[str] = []
        self.process: subprocess.Popen[str] | None = None

    def start(self) -> subprocess.Popen[str]:
        """The round, begun."""
        words = [str(self.bench_file), str(self.sequence), str(self.records), str(self.spoil)]
        command = [sys.executable, str(HERE / "killed_run.py"), *words]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        return self.process

    def until(self, phase: str) -> None:
        """Read what the round shows until `phase` begins."""
        assert self.process is not None
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.shown.append(line.rstrip("\n"))
            if line.startswith(PHASES[phase]):
                return
        raise AssertionError(f"ended before {phase}: {self.shown[-3:]} {self.process.communicate()[1]}")

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
        out, err = self.process.communicate(timeout=within)
        self.shown += out.splitlines()
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
        self.served.close()
        if self.pty is not None:
            self.pty.close()
