"""Spread the shards of a study over Spark, then put them together.

    spark-submit bench/tune_spark.py SLACKSIDE STUDY.toml SHARDS OUT

Every worker needs the program, the study and its traces at the same paths.
"""

import subprocess
import sys

from pyspark.sql import SparkSession


def main():
    program, study, shards, out = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
    spark = SparkSession.builder.appName("slackside tune").getOrCreate()

    def run(number):
        subprocess.run([program, "tune", study, "--shard", f"{number}/{shards}", "--out", out], check=True)
        return f"{out}.{number}-of-{shards}.parquet"

    files = spark.sparkContext.parallelize(range(1, shards + 1), shards).map(run).collect()
    rows = spark.read.parquet(*files)
    print(rows.groupBy("stop_kind").count().orderBy("stop_kind").collect())
    spark.stop()
    subprocess.run([program, "tune", "merge", study, *files, "--out", out], check=True)


if __name__ == "__main__":
    main()
