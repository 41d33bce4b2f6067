"""`autobench simulate`: a whole bench for other programs, and autobench itself as one of them."""

from __future__ import annotations

import contextlib
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import pyvisa
import serial

from autobench import app
from autobench.documents.bench import Bench
from autobench.documents.reading import read

PROMPTLY = 30.0  # s; for a busy machine


@contextlib.contextmanager
def simulated(folder: Path, *words: str) -> Iterator[tuple[Path, subprocess.Popen[str]]]:
    """The running program and its bench file."""
    file = folder / "served.yaml"
    command = [sys.executable, "-m", "autobench", "simulate", "tarnbeck-8", "--write", str(file), *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        try:
            end = time.monotonic() + PROMPTLY
            while not file.exists():
                assert running.poll() is None, running.stderr.read() if running.stderr else ""
                assert time.monotonic() < end
                time.sleep(0.05)
            yield file, running
        finally:
            running.send_signal(signal.SIGINT)
            running.wait(PROMPTLY)


def test_a_served_bench_is_one_for_other_programs(tmp_path: Path) -> None:
    """Its file is a bench file; each instrument answers by its name over sockets, HiSLIP and a serial line."""
    manager = pyvisa.ResourceManager("@py")
    with simulated(tmp_path, "--stepped-clock") as (file, running):
        bench = read(file, Bench)
        assert bench.simulated == "served"
        text = file.read_text(encoding="utf-8")
        hislip = re.findall(r"# HiSLIP: (\S+)", text)
        vxi11 = re.findall(r"# VXI-11: (\S+)", text)
        ports = re.findall(r"# serial: ASRL(\S+)::INSTR", text)
        assert len(bench.instruments) == len(hislip) == len(vxi11) == len(ports) == 4
        served = zip(bench.instruments.items(), hislip, vxi11, ports, strict=True)
        for (name, instrument), by_hislip, by_vxi11, port in served:
            told = []
            for address in (instrument.address, by_hislip, by_vxi11):
                resource: Any = manager.open_resource(address, timeout=5000, open_timeout=5000)
                resource.read_termination = resource.write_termination = "\n"
                told.append(resource.query("*IDN?"))
                resource.close()
            with serial.Serial(port, timeout=5.0) as line:
                line.write(b"*IDN?\n")
                told.append(line.read_until(b"\n").decode("ascii").strip())
            assert len(told) == 4
            assert len(set(told)) == 1, name
            assert told[0].split(",")[1].lower() == instrument.driver
        running.send_signal(signal.SIGINT)
        assert running.wait(PROMPTLY) == 0


def test_autobench_itself_uses_a_served_bench(tmp_path: Path) -> None:
    """Every output is switched off and proved, over real sockets, by a file that another process wrote."""
    with simulated(tmp_path, "--stepped-clock") as (file, _):
        assert any("off" in line for line in app.switch_off(str(file)))


@pytest.mark.parametrize("words", [("--fault", "no-such-fault"), ("--write", "/nowhere/at/all.yaml")])
def test_a_wrong_word_ends_it(words: tuple[str, ...]) -> None:
    """A fault there is none of, or a file that cannot be written, is a wrong word on the command line."""
    done = subprocess.run(
        [sys.executable, "-m", "autobench", "simulate", "tarnbeck-8", *words],
        capture_output=True,
        text=True,
        timeout=PROMPTLY,
        check=False,
    )
    assert done.returncode == 2
    assert words[1].split("/")[-1] in done.stderr
