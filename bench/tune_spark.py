"""Spread the shards of a study over Spark, then put them together.

    spark-submit bench/tune_spark.py SLACKSIDE STUDY.toml SHARDS OUT

Every worker needs the program, the study and its traces at the same paths.
"""

import os
import subprocess
import sys

from pyspark.sql import SparkSession


def run(program, arguments):
    """Run to the end. The output is taken in, since a worker's own output may be how it talks to Spark."""
    # A shard for each core: it must not spread over all cores by itself.
    environment = dict(os.environ, RAYON_NUM_THREADS="1")
    done = subprocess.run([program, *arguments], stdin=subprocess.DEVNULL, capture_output=True, text=True, env=environment)
    if done.returncode != 0:
        raise RuntimeError(f"{program} {' '.join(arguments)} ended with {done.returncode}: {done.stderr}")
    return done.stdout


def main():
    # Workers stand in directories of their own.
    program, study, out = (os.path.abspath(path) for path in (sys.argv[1], sys.argv[2], sys.argv[4]))
    shards = int(sys.argv[3])
    spark = SparkSession.builder.appName("slackside tune").getOrCreate()

    def shard(number):
        run(program, ["tune", study, "--shard", f"{number}/{shards}", "--out", out])
        return f"{out}.{number}-of-{shards}.parquet"

    files = spark.sparkContext.parallelize(range(1, shards + 1), shards).map(shard).collect()
    rows = spark.read.parquet(*files)
    rows.groupBy("stop_kind").count().orderBy("stop_kind").show()
    spark.stop()
    print(run(program, ["tune", "merge", study, *files, "--out", out]))


if __name__ == "__main__":
    main()
