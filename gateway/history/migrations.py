"""The shape of a site's SQLite file, step by step; a step that has landed never changes.

Each step runs in one transaction with its note, so a file is at one step or the next, never
between. Tables of rows are named and laid out as in `gateway.history.columns`.
"""

from __future__ import annotations

import json

from sqlite_utils import Database
from sqlite_utils.migrations import Migrations

steps = Migrations("seafret-history")

_LINE_KEY = "stream_id INTEGER NOT NULL, seq INTEGER NOT NULL"

INTERVAL = """
insulator span start_counter start_us duration_us windows state
dry_us wet_us arcing_sparse_us arcing_dense_us de_energised_us unknown_us
halfcycles arcing_halfcycles arcing_positive arcing_negative doubtful_halfcycles spike_halfcycles
clipped_halfcycles peak_ua arcing_peak_ua
pulses_5ma pulses_20ma pulses_50ma pulses_100ma pulses_200ma
arc_pulses_5ma arc_pulses_20ma arc_pulses_50ma arc_pulses_100ma arc_pulses_200ma
charge_positive_nc charge_negative_nc arcing_charge_positive_nc arcing_charge_negative_nc
i2t_positive_pa2s i2t_negative_pa2s arcing_i2t_positive_pa2s arcing_i2t_negative_pa2s
energy_positive_uj energy_negative_uj arcing_energy_positive_uj arcing_energy_negative_uj
frequency_millihz voltage_mv rms_na mean_na h1_na h2_ppm h3_ppm h3_cdeg h5_ppm thd_ppm
in_phase_na quadrature_na live_us first_arc_us last_arc_us silent_from_us calibration flags
"""

ROWS = {
    "weather": "start_us duration_us rh_cpct air_cdegc dew_point_cdegc rain_um wind_mm_s "
    "wind_from_cdeg uv_mw_m2 flags",
    "health": "start_us duration_us clock_source clock_synchronised clock_error_us "
    "storage_free_ppm backlog samples source_alive line_status supply_mv enclosure_cdegc "
    "link_counters letter reasons software settings_sha flags",
    "condition": "alarm subject condition priority latched at_us at_counter since_us deciding "
    "limits reason settings_sha flags",
    "capture": "insulator trigger trigger_us start_us duration_us content_sha size_bytes parts "
    "settings_sha flags",
    "capture_part": "content_sha part content_b64",
    "clock_correction": "boot from_counter to_counter shift_us error_us source",
    "loss": "first last count from_us to_us reason",
    "epoch_start": "previous_epoch previous_last reason",
    "unit_event": "event at_us detail",
}

_DECLARED = {
    **dict.fromkeys(("link_counters", "deciding", "limits", "detail"), "TEXT"),
    "content_b64": "BLOB",
}


def _declared(columns: str) -> str:
    return ", ".join(f"{name} {_DECLARED.get(name, 'INTEGER')}" for name in columns.split())


_INDEXES = {
    "weather": "start_us",
    "health": "start_us",
    "condition": "at_us",
    "capture": "trigger_us",
    "capture_part": "content_sha, part",
}


@steps(name="001-rows-marks-refusals")
def rows_marks_refusals(db: Database) -> None:
    """Streams and marks, lines, a table for each kind of record, refusals, security events."""
    _note(db, "001-rows-marks-refusals", rows_marks_refusals.__doc__ or "")
    db.execute("CREATE TABLE words (id INTEGER PRIMARY KEY, word TEXT NOT NULL UNIQUE)")
    db.execute(
        "CREATE TABLE marks (stream_id INTEGER PRIMARY KEY, unit TEXT NOT NULL, "
        "epoch TEXT NOT NULL, stream TEXT NOT NULL, upto INTEGER NOT NULL, "
        "received_us INTEGER NOT NULL, UNIQUE (unit, epoch, stream))"
    )
    db.execute(
        f"CREATE TABLE lines ({_LINE_KEY}, digest BLOB NOT NULL, kind INTEGER NOT NULL, "
        "boot INTEGER NOT NULL, clock INTEGER NOT NULL, t_boot_ns INTEGER NOT NULL, "
        "t_utc_us INTEGER NOT NULL, insulator INTEGER, start_us INTEGER, span INTEGER, "
        "unread TEXT, body BLOB, PRIMARY KEY (stream_id, seq)) WITHOUT ROWID"
    )
    db.execute(
        f"CREATE TABLE interval ({_LINE_KEY}, {_declared(INTERVAL)}, "
        "PRIMARY KEY (insulator, start_us, span, stream_id, seq)) WITHOUT ROWID"
    )
    db.execute("CREATE TABLE insulators (insulator INTEGER PRIMARY KEY)")
    for name, columns in ROWS.items():
        db.execute(
            f"CREATE TABLE {name} ({_LINE_KEY}, {_declared(columns)}, "
            "PRIMARY KEY (stream_id, seq)) WITHOUT ROWID"
        )
    for name, columns in _INDEXES.items():
        db.execute(f"CREATE INDEX {name}_by_{columns.split(',')[0]} ON {name} ({columns})")
    _create_what_was_refused(db)


def _create_what_was_refused(db: Database) -> None:
    db.execute(
        "CREATE TABLE refusals (id INTEGER PRIMARY KEY AUTOINCREMENT, at_us INTEGER NOT NULL, "
        "topic TEXT NOT NULL, reason TEXT NOT NULL, text TEXT NOT NULL, payload BLOB NOT NULL, "
        "size_bytes INTEGER NOT NULL)"
    )
    db.execute(
        "CREATE TABLE raw_messages (id INTEGER PRIMARY KEY, stream_id INTEGER NOT NULL, "
        "first INTEGER NOT NULL, last INTEGER NOT NULL, payload BLOB NOT NULL)"
    )
    db.execute(
        "CREATE TABLE security_events (id INTEGER PRIMARY KEY AUTOINCREMENT, "
        "at_us INTEGER NOT NULL, unit TEXT NOT NULL, event TEXT NOT NULL, detail TEXT NOT NULL, "
        "count INTEGER NOT NULL)"
    )


@steps(name="002-what-people-found")
def what_people_found(db: Database) -> None:
    """Maintenance, inspections and deposit measurements, as `seafret load` brings them."""
    _note(db, "002-what-people-found", what_people_found.__doc__ or "")
    for name, columns in {
        "maintenance": "action TEXT NOT NULL, note TEXT NOT NULL",
        "inspection": "finding TEXT NOT NULL, grade TEXT, depth_um INTEGER, note TEXT NOT NULL",
        "deposit": "esdd_ng_cm2 INTEGER, nsdd_ng_cm2 INTEGER, note TEXT NOT NULL",
    }.items():
        db.execute(
            f"CREATE TABLE {name} (insulator INTEGER NOT NULL, start_us INTEGER NOT NULL, "
            f"source INTEGER NOT NULL, {columns}, PRIMARY KEY (insulator, start_us, source)) "
            "WITHOUT ROWID"
        )


@steps(name="003-alarm-journal")
def alarm_journal(db: Database) -> None:
    """The alarm journal: lines are added, and never changed or taken away."""
    _note(db, "003-alarm-journal", alarm_journal.__doc__ or "")
    db.execute(
        "CREATE TABLE alarm_journal (number INTEGER PRIMARY KEY, at_us INTEGER NOT NULL, "
        "body BLOB NOT NULL)"
    )
    for verb in ("UPDATE", "DELETE"):
        db.execute(
            f"CREATE TRIGGER alarm_journal_no_{verb.lower()} BEFORE {verb} ON alarm_journal "
            "BEGIN SELECT RAISE(ABORT, 'the alarm journal is only ever added to'); END"
        )


@steps(name="004-rows-from-elsewhere")
def rows_from_elsewhere(db: Database) -> None:
    """Loaded rows by columns; line status; one visit may find and do several things."""
    _note(db, "004-rows-from-elsewhere", rows_from_elsewhere.__doc__ or "")
    db.execute(
        "CREATE TABLE loaded (id INTEGER PRIMARY KEY, kind INTEGER NOT NULL, "
        "insulator INTEGER NOT NULL, name INTEGER NOT NULL, week INTEGER NOT NULL, "
        "source INTEGER NOT NULL, cells BLOB NOT NULL, "
        "UNIQUE (kind, insulator, name, week, source))"
    )
    db.execute("CREATE INDEX loaded_by_week ON loaded (kind, insulator, source, week)")
    for name, columns, key in (
        (
            "maintenance",
            "insulator INTEGER, start_us INTEGER, action TEXT, source INTEGER, note TEXT",
            "insulator, start_us, action, source",
        ),
        (
            "inspection",
            "insulator INTEGER, start_us INTEGER, finding TEXT, source INTEGER, grade TEXT, "
            "depth_um INTEGER, photo TEXT, note TEXT",
            "insulator, start_us, finding, source",
        ),
        (
            "deposit",
            "insulator INTEGER, start_us INTEGER, source INTEGER, esdd_ng_cm2 INTEGER, "
            "nsdd_ng_cm2 INTEGER, note TEXT",
            "insulator, start_us, source",
        ),
        (
            "line_status",
            "start_us INTEGER, source INTEGER, duration_us INTEGER, line_status TEXT",
            "start_us, source",
        ),
    ):
        # Nothing was ever written into the tables of step 002.
        db.execute(f"DROP TABLE IF EXISTS {name}")
        db.execute(f"CREATE TABLE {name} ({columns}, PRIMARY KEY ({key})) WITHOUT ROWID")


@steps(name="005-noise-certificate-firmware")
def noise_certificate_firmware(db: Database) -> None:
    """Health records say the noise of each channel, the certificate's end and the firmware."""
    _note(db, "005-noise-certificate-firmware", noise_certificate_firmware.__doc__ or "")
    _keep_bodies_of_health(db)
    db.execute("INSERT OR IGNORE INTO words (word) VALUES ('')")
    (nothing,) = db.execute("SELECT id FROM words WHERE word = ''").fetchone()
    db.execute("ALTER TABLE health ADD COLUMN noise_na TEXT NOT NULL DEFAULT '{}'")
    db.execute("ALTER TABLE health ADD COLUMN certificate_days INTEGER")
    db.execute(f"ALTER TABLE health ADD COLUMN firmware INTEGER NOT NULL DEFAULT {nothing}")


def _keep_bodies_of_health(db: Database) -> None:
    """Rows from before say nothing of the new fields: their bodies are kept as they were sent."""
    words = dict(db.execute("SELECT id, word FROM words"))
    columns = ("stream_id", "seq", *ROWS["health"].split())
    found = db.execute(
        f"SELECT {', '.join(f'h.{name}' for name in columns)} FROM health h JOIN lines l "
        "ON l.stream_id = h.stream_id AND l.seq = h.seq WHERE l.body IS NULL"
    ).fetchall()
    for stream_id, seq, *cells in found:
        plain = dict(zip(columns[2:], cells, strict=True), kind="health")
        for name in ("clock_source", "line_status", "letter", "software", "settings_sha"):
            plain[name] = words[plain[name]]
        for name in ("reasons", "flags"):
            plain[name] = json.loads(words[plain[name]])
        for name in ("clock_synchronised", "source_alive"):
            plain[name] = bool(plain[name])
        plain["link_counters"] = json.loads(plain["link_counters"])
        body = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        where = (body.encode(), stream_id, seq)
        db.execute("UPDATE lines SET body = ? WHERE stream_id = ? AND seq = ?", where)


@steps(name="006-decisions")
def decisions(db: Database) -> None:
    """What people decided: lines are added, and never changed or taken away."""
    _note(db, "006-decisions", decisions.__doc__ or "")
    db.execute(
        "CREATE TABLE decisions (number INTEGER PRIMARY KEY, at_us INTEGER NOT NULL, "
        "body BLOB NOT NULL)"
    )
    for verb in ("UPDATE", "DELETE"):
        db.execute(
            f"CREATE TRIGGER decisions_no_{verb.lower()} BEFORE {verb} ON decisions "
            "BEGIN SELECT RAISE(ABORT, 'decisions are only ever added to'); END"
        )


@steps(name="007-thinned-weeks")
def thinned_weeks(db: Database) -> None:
    """Which weeks of minute rows have become ten-minute and hourly rows."""
    _note(db, "007-thinned-weeks", thinned_weeks.__doc__ or "")
    db.execute(
        "CREATE TABLE thinned (insulator INTEGER, source INTEGER, week INTEGER, "
        "PRIMARY KEY (insulator, source, week)) WITHOUT ROWID"
    )


def _note(db: Database, step: str, note: str) -> None:
    db.execute("CREATE TABLE IF NOT EXISTS migration_notes (step TEXT PRIMARY KEY, note TEXT)")
    db.execute("INSERT INTO migration_notes VALUES (?, ?)", [step, note])
