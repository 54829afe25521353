#!/usr/bin/python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""README's array of tasks on a real Slurm of one node, which is set up for it and taken down again.

Usage: check_spread_slurm.py BUILD_DIR. Needs root, slurmctld, slurmd and munged; without one of them it
says so and checks nothing.
"""
import os
import shutil
import socket
import subprocess
import tempfile
import time

from cases import main
from check_worker_death import all_workers
from shards import how_to, rig_text

CONFIGURATION = """ClusterName=toneload
SlurmctldHost={host}(127.0.0.1)
SlurmctldPort={port}
SlurmdPort={other_port}
AuthType=auth/munge
CredType=cred/munge
AuthInfo=socket={folder}/munge.sock
SlurmUser=root
SlurmdUser=root
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdLogFile={folder}/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
SwitchType=switch/none
SchedulerType=sched/backfill
SchedulerParameters=bf_interval=1,sched_interval=1
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
ReturnToService=2
SlurmdParameters=config_overrides
NodeName=one NodeHostname={host} NodeAddr=127.0.0.1 CPUs=4 State=UNKNOWN
PartitionName=all Nodes=one Default=YES State=UP MaxTime=INFINITE
"""
TRIALS = "300"


def why_not():
    """What is missing, if anything."""
    if os.getuid() != 0:
        return "not root"
    missing = [name for name in ("munged", "slurmctld", "slurmd", "sbatch")
               if not shutil.which(name, path="/usr/sbin:/usr/bin:/sbin:/bin")]
    return "no " + ", ".join(missing) if missing else None


def free_ports():
    """Two ports that nobody listens at."""
    sockets = [socket.socket() for _ in range(2)]
    for one in sockets:
        one.bind(("127.0.0.1", 0))
    ports = [one.getsockname()[1] for one in sockets]
    for one in sockets:
        one.close()
    return ports


class Cluster:
    """A cluster of this machine alone."""

    def __init__(self):
        self.folder = tempfile.mkdtemp(prefix="toneload-slurm-")
        self.servers = []
        os.chmod(self.folder, 0o755)
        for name in ("state", "spool"):
            os.mkdir(os.path.join(self.folder, name))
        with open(os.path.join(self.folder, "key"), "wb") as file:
            os.chmod(file.name, 0o600)
            file.write(os.urandom(1024))
        port, other_port = free_ports()
        with open(os.path.join(self.folder, "slurm.conf"), "w", encoding="ascii") as file:
            file.write(CONFIGURATION.format(host=socket.gethostname().split(".")[0], port=port,
                                            other_port=other_port, folder=self.folder))
        self.environment = {"PATH": "/usr/sbin:/usr/bin:/sbin:/bin", "LANG": "C.UTF-8", "HOME": "/root",
                            "SLURM_CONF": os.path.join(self.folder, "slurm.conf")}
        at = self.folder
        self.serve("munged", "--force", "--foreground", f"--key-file={at}/key", f"--socket={at}/munge.sock",
                   f"--pid-file={at}/munge.pid", f"--log-file={at}/munge.log", f"--seed-file={at}/munge.seed")
        self.until(lambda: os.path.exists(f"{at}/munge.sock"), 5)
        self.serve("slurmctld", "-D", "-f", f"{at}/slurm.conf")
        self.serve("slurmd", "-D", "-f", f"{at}/slurm.conf", "-N", "one")

    def serve(self, *words):
        with open(os.path.join(self.folder, words[0] + ".out"), "wb") as out:
            self.servers.append(subprocess.Popen(words, env=self.environment, cwd=self.folder, stdout=out,
                                                 stdin=subprocess.DEVNULL, stderr=subprocess.STDOUT))

    @staticmethod
    def until(holds, limit_s):
        deadline = time.monotonic() + limit_s
        while not holds() and time.monotonic() < deadline:
            time.sleep(0.1)
        return holds()

    def run(self, *words, cwd=None, **more):
        return subprocess.run(words, env=dict(self.environment, **more), cwd=cwd or self.folder, timeout=30,
                              stdin=subprocess.DEVNULL, capture_output=True)

    def is_ready(self):
        return self.until(lambda: b"idle" in self.run("sinfo", "-h", "-o", "%t").stdout, 15)

    def is_empty(self):
        return self.until(lambda: not self.run("squeue", "-h").stdout.strip(), 60)

    def log(self):
        """The last that the servers said."""
        said = []
        for name in ("munged.out", "slurmctld.out", "slurmd.out"):
            path = os.path.join(self.folder, name)
            if os.path.exists(path):
                with open(path, encoding="utf-8", errors="replace") as file:
                    said += [name + ": " + line for line in file.read().splitlines()[-3:]]
        return "\n    ".join(said)

    def end(self):
        self.run("scancel", "--user=root")
        for server in reversed(self.servers):
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()
                server.wait()
        shutil.rmtree(self.folder, ignore_errors=True)


def worked_s(folder):
    """Processor time of the solver's processes whose toneload works in a folder."""
    total = 0
    for pid, parent, _ in all_workers():
        try:
            if os.readlink(f"/proc/{parent}/cwd") == folder:
                with open(f"/proc/{pid}/stat", encoding="ascii", errors="replace") as file:
                    total += sum(map(int, file.read().rsplit(")", 1)[1].split()[11:13]))
        except OSError:
            continue  # it has just ended
    return total / os.sysconf("SC_CLK_TCK")


def outputs(cases):
    """What the tasks said, for when something is wrong."""
    return [cases.read(name) for name in sorted(os.listdir(cases.here)) if name.endswith(".out")]


def send(cases, cluster, *words):
    done = cluster.run("sbatch", *words, "spread.sh", cwd=cases.here,
                       PATH=cases.build + ":" + cluster.environment["PATH"])
    cases.check(done.returncode == 0, words, done)
    return done.stdout.decode().split()[-1]


def check_array(cases, cluster):
    cases.group("README's array of tasks on a real Slurm")
    _, script = how_to()
    cases.write("rig.yaml", rig_text("long-cable.yaml"))
    cases.write("spread.sh", script.replace("--trials 1000000", "--trials " + TRIALS))
    whole = cases.run("spread", "rig.yaml", "--trials", TRIALS, "--json").stdout
    parts = [f"spread-{number}.part" for number in range(1, 8)]
    send(cases, cluster)
    cases.check(cluster.is_empty(), "the array did not end:", cluster.run("squeue").stdout)
    if cases.check(all(os.path.exists(cases.path(name)) for name in parts), outputs(cases), cluster.log()):
        merged = cases.run("merge", *parts, "--json")
        cases.check(merged.returncode == 0 and merged.stdout == whole, "merged:", merged.stderr)

    cases.group("two of them sent off again, and one stopped and sent off again")
    for name in (parts[2], parts[4]):
        os.remove(cases.path(name))
    send(cases, cluster, "--array=3,5")
    cases.check(cluster.is_empty(), "two tasks did not end")
    merged = cases.run("merge", *parts, "--json")
    cases.check(merged.returncode == 0 and merged.stdout == whole, "merged again:", merged.stderr)
    long_script = script.replace("--trials 1000000", "--trials 500000")
    cases.write("spread.sh", long_script.replace("spread-$", "long-$"))
    job = send(cases, cluster, "--array=2")
    cases.check(cluster.until(lambda: b"R" in cluster.run("squeue", "-h", "-o", "%t").stdout, 20), "not started")
    cases.check(cluster.until(lambda: worked_s(cases.here) > 1, 30), "it does not get to its trials")
    cluster.run("scancel", "--batch", "--signal=TERM", job)  # as Slurm does a minute before the end
    cases.check(cluster.is_empty(), "the task did not stop")
    said = b"".join(outputs(cases))
    cases.check(b"of the 71429 trials of shard 2/7 are in long-2.part; --resume goes on" in said, said)
    done = cases.run("merge", "long-2.part")
    cases.check(done.returncode == 2 and b"finish it with --resume" in done.stderr, done)


def run(cases):
    reason = why_not()
    if reason:
        print(f"({reason}: left out)")
        return
    cluster = Cluster()
    try:
        if cluster.is_ready():
            check_array(cases, cluster)
        else:
            print(f"(Slurm does not start here: left out)\n    {cluster.log()}")
    finally:
        cluster.end()


if __name__ == "__main__":
    main(run)
