"""What a running watch costs. Run: python tests/benchmarks/watch_process.py [SECONDS]

Starts the real watch on the demo rig with 20 tags, all read once a second from the simulated
source, and measures the process from outside: resident memory, share of one processor, bytes
handed to the disk (per day, from its growth). The reference beside it is a bare Python process
that only sleeps. numpy and pandas are importable here where the tests are installed; that the
watch does not load them is part of what is measured.
"""

import importlib.util
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_config" / "ostrel-hill"
WARM = 20.0
"""Seconds given to the start, not measured."""
DAY = 86_400.0


def configure(folder: Path) -> None:
    """The demo rig, every tag each second, three more thermometers, texts into a folder."""
    for path in SAMPLE.glob("*.toml"):
        text = path.read_text(encoding="utf-8")
        if path.name == "rig.toml":
            lines = [
                "every_s = 1" if line.startswith("every_s") else line for line in text.splitlines()
            ]
            for number in range(3):
                lines += [
                    "[[tag]]",
                    f'id = "TX{number}"',
                    'measures = "temperature"',
                    'of = "ROOM"',
                    'unit = "C"',
                    'source = "sim"',
                    "every_s = 1",
                ]
            text = "\n".join(lines) + "\n"
        if path.name == "channels.toml":
            text = text.replace("/var/lib/holdwater/outbox", str(folder / "outbox"))
        (folder / path.name).write_text(text, encoding="utf-8")


def resident(pid: int) -> float:
    """Resident memory, MB."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024.0
    raise RuntimeError("no VmRSS")


def processor(pid: int) -> float:
    """Processor seconds used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def written(pid: int) -> int:
    """Bytes handed to write() so far, sockets and log included."""
    for line in Path(f"/proc/{pid}/io").read_text().splitlines():
        if line.startswith("wchar"):
            return int(line.split()[1])
    raise RuntimeError("no wchar")


def main(seconds: float) -> None:
    """Measure and print."""
    loaded = [name for name in ("numpy", "pandas") if importlib.util.find_spec(name)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        configure(folder)
        command = [sys.executable, "-c", "from monitor.cli import main; main()"]
        command += ["watch", str(folder), "--state", str(folder / "state"), "--trust-clock"]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        watch = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
        bare = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(10**6)"])
        time.sleep(WARM)
        if watch.poll() is not None:
            raise SystemExit("the watch ended by itself; run it by hand to see why")
        before, began = (processor(watch.pid), written(watch.pid)), time.monotonic()
        time.sleep(seconds)
        took = time.monotonic() - began
        memory, idle = resident(watch.pid), resident(bare.pid)
        used = (processor(watch.pid) - before[0]) / took
        day = (written(watch.pid) - before[1]) / took * DAY / 1e6
        bare.kill()
        bare.wait()
        watch.send_signal(signal.SIGTERM)
        code = watch.wait(30)
    print(f"importable here: {', '.join(loaded) or 'neither numpy nor pandas'}")
    print(
        f"watch, 20 tags at 1 Hz: {memory:.1f} MB resident (floor 60, aim 48), "
        f"{memory / idle:.1f} times a bare Python of {idle:.1f} MB"
    )
    print(f"watch: {used * 100:.2f} % of one processor, the simulated rig included")
    print(f"watch: {day:.1f} MB a day handed to write() (floor 30, aim 10); ended with {code}")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 330.0)
