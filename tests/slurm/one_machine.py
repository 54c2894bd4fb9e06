"""A SLURM of one machine: munged, slurmctld and slurmd from Debian's packages, in a folder of their own.

    python tests/slurm/one_machine.py squeue           # a command with the cluster up; it is stopped afterwards

Nothing of the system is touched: key, socket, ports and `slurm.conf` are the folder's own, and SLURM's commands find
them by `SLURM_CONF`. There are no control groups and no accounting, so what a job asks for is counted and not enforced.
"""

from __future__ import annotations

import getpass
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

NEEDED = ("munged", "slurmctld", "slurmd", "sbatch", "srun", "squeue", "sinfo", "scontrol")
SECONDS = 60  # in which the node is idle, or never
CONFIGURATION = """\
ClusterName=one
SlurmctldHost={host}(127.0.0.1)
SlurmUser={user}
SlurmdUser={user}
SlurmctldPort={controller_port}
SlurmdPort={node_port}
AuthType=auth/munge
AuthInfo=socket={folder}/munge/socket
CredType=cred/munge
StateSaveLocation={folder}/controller
SlurmdSpoolDir={folder}/node
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdLogFile={folder}/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SwitchType=switch/none
MpiDefault=none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core_Memory
SchedulerParameters=batch_sched_delay=0,sched_interval=2
ReturnToService=2
KillWait=5
{node} NodeHostname={host} NodeAddr=127.0.0.1 State=UNKNOWN
PartitionName=all Nodes=ALL Default=YES MaxTime=INFINITE State=UP
"""


def path() -> str:
    """`PATH` with the folders in which Debian puts daemons."""
    return os.pathsep.join([os.environ["PATH"], "/usr/sbin", "/sbin"])


def is_installed() -> bool:
    """Whether all that is started here is there."""
    return all(shutil.which(name, path=path()) for name in NEEDED)


@contextmanager
def cluster(folder: Path) -> Iterator[dict[str, str]]:
    """A cluster of this machine until the block ends.

    Parameters
    ----------
    folder : an empty one, for all that its daemons leave

    Returns
    -------
    The environment in which SLURM's commands find it.
    """
    (folder / "munge").mkdir(mode=0o755)
    for name in ("controller", "node"):
        (folder / name).mkdir()
    configuration = folder / "slurm.conf"
    search = os.pathsep.join([str(_step_starter(folder, configuration)), path()])
    environment = {**os.environ, "PATH": search, "SLURM_CONF": str(configuration)}
    configuration.write_text(
        CONFIGURATION.format(
            folder=folder,
            host=socket.gethostname().split(".")[0],
            user=getpass.getuser(),
            node=_node(environment),
            controller_port=_free_port(),
            node_port=_free_port(),
        ),
        encoding="utf-8",
    )
    with ExitStack() as daemons:
        for command in (_munged(folder / "munge"), ["slurmctld", "-D"], ["slurmd", "-D"]):
            daemons.enter_context(_running(command, environment, folder))
        _wait_until_idle(environment, folder)
        yield environment


def _step_starter(folder: Path, configuration: Path) -> Path:
    """A folder with an srun of its own, from which Snakemake's executor takes SLURM_CONF away."""
    starter = folder / "bin" / "srun"
    starter.parent.mkdir()
    starter.write_text(f'#!/bin/sh\nSLURM_CONF={configuration} exec {shutil.which("srun", path=path())} "$@"\n')
    starter.chmod(0o755)
    return starter.parent


def _node(environment: dict[str, str]) -> str:
    """What slurmd finds of this machine, as a line of slurm.conf."""
    said = subprocess.run(["slurmd", "-C"], env=environment, capture_output=True, encoding="utf-8", check=True)
    return said.stdout.splitlines()[0]


def _munged(folder: Path) -> list[str]:
    key = folder / "key"
    key.write_bytes(os.urandom(128))
    key.chmod(0o600)
    files = {"socket": "socket", "key-file": "key", "log-file": "log", "pid-file": "pid", "seed-file": "seed"}
    return ["munged", "--foreground", "--force", *(f"--{option}={folder / name}" for option, name in files.items())]


@contextmanager
def _running(command: list[str], environment: dict[str, str], folder: Path) -> Iterator[None]:
    with (folder / f"{command[0]}.said").open("wb") as said:
        process = subprocess.Popen(command, env=environment, stdout=said, stderr=said, start_new_session=True)
    try:
        yield
    finally:
        process.terminate()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _wait_until_idle(environment: dict[str, str], folder: Path) -> None:
    deadline = time.monotonic() + SECONDS
    while time.monotonic() < deadline:
        said = subprocess.run(["sinfo", "-h", "-o", "%T"], env=environment, capture_output=True, encoding="utf-8")
        if said.stdout.split() == ["idle"]:
            return
        time.sleep(0.2)
    words = [path.read_text(encoding="utf-8", errors="replace")[-2000:] for path in sorted(folder.glob("*.[ls]*[gd]"))]
    raise RuntimeError(f"the node did not come up: {said.stdout}{said.stderr}\n" + "\n".join(words))


def _free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


if __name__ == "__main__":
    if not is_installed():
        sys.exit(f"Needed: {', '.join(NEEDED)} (Debian: munge, slurm-client, slurmctld, slurmd).")
    with tempfile.TemporaryDirectory() as made, cluster(Path(made)) as found:
        sys.exit(subprocess.run(sys.argv[1:], env=found).returncode)
