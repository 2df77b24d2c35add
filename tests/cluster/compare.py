#!/usr/bin/env python3
"""Asks every built-in question of a Spark cluster on this machine and compares with the program's own answers, cell by cell.

    compare.py PROGRAM REPORT [FILES]

A master and two workers are started on the loopback and stopped again. The datasets of REPORT are read as the program wrote
them, spread over FILES files each (8 unless said), and asked from there. Needs the package pyspark and a Java runtime.
"""
import json
import os
import pathlib
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request

import pyspark
from pyspark.sql import SparkSession

from answers import DATASETS, compare

HOST = "127.0.0.1"
WORKERS = 2


def free_port():
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return probe.getsockname()[1]


class Cluster:
    """A master and its workers, for as long as a `with` lasts."""

    def __init__(self, folder):
        self.folder, self.running = pathlib.Path(folder), []
        self.port, self.page = free_port(), free_port()
        self.url = f"spark://{HOST}:{self.port}"

    def start(self, name, *arguments):
        home = pathlib.Path(pyspark.__file__).parent
        environment = {**os.environ, "SPARK_HOME": str(home), "SPARK_LOCAL_IP": HOST, "SPARK_NO_DAEMONIZE": "1"}
        log = open(self.folder / f"{name}.log", "wb")
        command = [home / "bin" / "spark-class", *map(str, arguments)]
        self.running.append(subprocess.Popen(command, env=environment, stdout=log, stderr=log, cwd=self.folder))

    def __enter__(self):
        deploy = "org.apache.spark.deploy"
        self.start("master", f"{deploy}.master.Master", "--host", HOST, "--port", self.port, "--webui-port", self.page)
        for number in range(WORKERS):
            self.start(f"worker-{number}", f"{deploy}.worker.Worker", "--host", HOST, "--port", free_port(),
                       "--webui-port", free_port(), "--cores", 1, "--memory", "2g",
                       "--work-dir", self.folder / f"work-{number}", self.url)
        until = time.monotonic() + 120
        while self.alive() < WORKERS:
            if time.monotonic() > until or any(process.poll() is not None for process in self.running):
                self.__exit__()
                raise SystemExit(f"the cluster did not start: {(self.folder / 'master.log').read_text()[-2000:]}")
            time.sleep(0.5)
        return self

    def alive(self):
        try:
            with urllib.request.urlopen(f"http://{HOST}:{self.page}/json/", timeout=5) as page:
                return json.load(page)["aliveworkers"]
        except OSError:
            return 0

    def __exit__(self, *_):
        for process in reversed(self.running):
            process.terminate()
        for process in self.running:
            process.wait()


def session(cluster):
    os.environ["SPARK_LOCAL_IP"] = HOST
    builder = SparkSession.builder.master(cluster.url).appName("questions")
    settings = {
        "spark.driver.host": HOST,
        "spark.ui.enabled": "false",
        "spark.ui.showConsoleProgress": "false",
        "spark.executor.memory": "1g",
        "spark.sql.shuffle.partitions": "4",
        "spark.sql.catalogImplementation": "in-memory",
        "spark.sql.session.timeZone": "UTC",
        "spark.sql.warehouse.dir": str(cluster.folder / "warehouse"),
    }
    for key, value in settings.items():
        builder = builder.config(key, value)
    return builder.getOrCreate()


def main():
    if len(sys.argv) not in (3, 4):
        raise SystemExit(__doc__)
    program, report = sys.argv[1], pathlib.Path(sys.argv[2]).resolve()
    files = int(sys.argv[3]) if len(sys.argv) == 4 else 8
    with tempfile.TemporaryDirectory() as folder, Cluster(folder) as cluster:
        spark = session(cluster)
        spark.sparkContext.setLogLevel("ERROR")
        for name in DATASETS:
            spread = str(cluster.folder / name)
            # without a key the rows are dealt out in turn, so that one episode's rows stand in several files
            spark.read.parquet(str(report / "restricted" / f"{name}.parquet")).repartition(files).write.parquet(spread)
            dataset = spark.read.parquet(spread)
            dataset.createOrReplaceTempView(name)
            written = len(list(pathlib.Path(spread).glob("*.parquet")))
            print(f"{name}: {dataset.count()} rows in {written} files")

        def answer_of(sql):
            answer = spark.sql(sql)
            return answer.columns, [tuple(row) for row in answer.collect()]

        engine = f"Spark {spark.version}, {cluster.alive()} workers"
        agree = compare(program, report, engine, answer_of)
        spark.stop()
    if not agree:
        raise SystemExit(1)


main()
