"""One log written in many layouts, by code that shares nothing with the readers."""

import datetime as dt
import gzip
import zipfile

import polars as pl

from tests.tuning.log_files import workbook

START = dt.datetime(2026, 10, 24, tzinfo=dt.UTC)
ZONE = "Europe/Copenhagen"
KEYS = ["room", "channel", "quantity"]
WIDE_COLUMNS = {
    "101 PIR": ("r101", "", "motion"),
    "101 LX": ("r101", "wall", "illuminance"),
    "101 OUT": ("r101", "wall", "output"),
    "102 OCC": ("r102", "", "occupied"),
    "102 W": ("r102", "main", "power"),
}
MAPPING = "\n".join(
    f'"{name}" = {{ room = "{room}", quantity = "{quantity}"' + (f', channel = "{channel}"' if channel else "") + " }"
    for name, (room, channel, quantity) in WIDE_COLUMNS.items()
)


def wide(log, *, zone=ZONE):
    columns = [
        log.filter((pl.col("room") == room) & (pl.col("channel") == channel) & (pl.col("quantity") == quantity)).select(
            "time", pl.col("value").alias(name)
        )
        for name, (room, channel, quantity) in WIDE_COLUMNS.items()
    ]
    table = columns[0].select("time")
    for column in columns:
        table = table.join(column, on="time", how="left", maintain_order="left")
    return table.with_columns(pl.col("time").dt.convert_time_zone(zone))


def local(log, form):
    return log.with_columns(pl.col("time").dt.convert_time_zone(ZONE).dt.strftime(form))


def comma(column):
    return pl.col(column).cast(pl.String).str.replace(".", ",", literal=True)


def iso_utc(folder, log):
    log.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%SZ")).write_csv(folder / "log.csv")


def local_latin_1_with_decimal_commas(folder, log):
    text = local(log, "%Y-%m-%d %H:%M:%S").with_columns(comma("value")).write_csv(separator=";")
    (folder / "log.csv").write_bytes(("Übersicht;\n" + text).encode("latin-1"))


def parquet_with_zone(folder, log):
    log.with_columns(pl.col("time").dt.convert_time_zone("America/New_York")).write_parquet(folder / "log.parquet")


def parquet_local_ns_categories(folder, log):
    time = pl.col("time").dt.convert_time_zone(ZONE).dt.replace_time_zone(None).cast(pl.Datetime("ns"))
    log.with_columns(time, pl.col(KEYS).cast(pl.Categorical)).write_parquet(folder / "log.parquet", row_group_size=1000)


def wide_day_first(folder, log):
    wide(log).with_columns(pl.col("time").dt.strftime("%d/%m/%Y %H:%M")).write_csv(folder / "log.csv")
    return f'[[logs]]\nfiles = "*.csv"\nlayout = "wide"\n[logs.columns]\n{MAPPING}'


def wide_date_and_time_utf_16(folder, log):
    table = wide(log)
    form = [pl.col("time").dt.strftime(f).alias(name) for f, name in (("%Y/%m/%d", "Date"), ("%H:%M:%S", "Clock"))]
    text = table.select(*form, *WIDE_COLUMNS).write_csv(separator="\t", line_terminator="\r\n")
    (folder / "log.txt").write_bytes(text.encode("utf-16"))
    return f'[[logs]]\nfiles = "log.txt"\nlayout = "wide"\ntime = ["Date", "Clock"]\n[logs.columns]\n{MAPPING}'


def wide_workbook(folder, log):
    workbook(folder / "log.xlsx", [["Time", *WIDE_COLUMNS], *wide(log).iter_rows()])
    return f'[[logs]]\nfiles = "*"\nlayout = "wide"\ntime = "Time"\n[logs.columns]\n{MAPPING}'.replace(
        '"*"', '"*.xlsx"'
    )


def epoch_ms_shuffled_gzip(folder, log):
    text = log.sample(fraction=1, shuffle=True, seed=1).with_columns(pl.col("time").dt.epoch("ms")).write_csv()
    (folder / "log.csv.gz").write_bytes(gzip.compress(text.encode()))


def overlapping_daily_files(folder, log):
    first, last = log["time"].min(), log["time"].max()
    for day in range((last - first).days + 2):
        begin = first + dt.timedelta(days=day, hours=-6)
        part = log.filter(pl.col("time").is_between(begin, begin + dt.timedelta(days=1, hours=3), closed="both"))
        part.with_columns(pl.col("time").dt.strftime("%+")).write_csv(folder / f"{day}.csv")


def zip_of_rooms_with_offsets(folder, log):
    with zipfile.ZipFile(folder / "log.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        for (room,), part in log.group_by("room"):
            text = local(part, "%Y-%m-%d %H:%M:%S%:z").write_csv(separator="|", quote_style="always")
            archive.writestr(f"rooms/{room}.csv", text)


def end_stamped_samples(folder, log):
    sampled = pl.col("quantity").is_in(["motion", "occupied", "illuminance"])
    late = log.filter(sampled).with_columns(pl.col("time") + pl.duration(minutes=1))
    late.with_columns(pl.col("time").dt.epoch("s")).write_csv(folder / "samples.csv")
    log.filter(~sampled).write_parquet(folder / "changes.parquet")
    return '[[logs]]\nfiles = "samples.csv"\nstamp = "end"\n[[logs]]\nfiles = "changes.parquet"'


def words_and_units_month_first(folder, log):
    unit = {"illuminance": " lx", "output": " %", "power": " W"}
    held = pl.col("quantity").is_in(["motion", "occupied"])
    text = comma("value") + pl.col("quantity").replace_strict(unit, default="")
    word = pl.when(pl.col("value") == 1).then(pl.lit("Active")).otherwise(pl.lit("inactive"))
    table = local(log, "%m/%d/%Y %I:%M:%S %p").with_columns(pl.when(held).then(word).otherwise(text).alias("value"))
    table.write_csv(folder / "log.csv", quote_style="non_numeric")


def newest_first_by_series(folder, log):
    """Sorted by series, the newest row first: each series is followed backward on its own in the double hour."""
    for number, (_, part) in enumerate(log.sort(*KEYS, "time").group_by(KEYS, maintain_order=True)):
        local(part.reverse(), "%d.%m.%Y %H:%M:%S").write_csv(folder / f"{number}.csv", separator=";")


LAYOUTS = [
    iso_utc,
    local_latin_1_with_decimal_commas,
    parquet_with_zone,
    parquet_local_ns_categories,
    wide_day_first,
    wide_date_and_time_utf_16,
    wide_workbook,
    epoch_ms_shuffled_gzip,
    overlapping_daily_files,
    zip_of_rooms_with_offsets,
    end_stamped_samples,
    words_and_units_month_first,
    newest_first_by_series,
]


def by_points_with_units(folder, log):
    """A row per reading, named by the point, as a trend viewer exports it."""
    names = pl.concat_str("room", "channel", "quantity", separator="/")
    text = (
        local(log, "%d.%m.%Y %H:%M:%S").select(Zeit="time", Punkt=names, Wert=comma("value")).write_csv(separator=";")
    )
    (folder / "trend.csv").write_bytes(text.encode("utf-16"))
    columns = "\n".join(
        f'"{room}/{channel}/{quantity}" = {{ room = "{room}", quantity = "{quantity}"'
        + (f', channel = "{channel}"' if channel else "")
        + " }"
        for room, channel, quantity in log.select("room", "channel", "quantity").unique().sort(pl.all()).iter_rows()
    )
    return f'[[logs]]\nfiles = "*.csv"\nlayout = "points"\ntime = "Zeit"\npoint = "Punkt"\nvalue = "Wert"\n[logs.columns]\n{columns}'


LAYOUTS.append(by_points_with_units)
