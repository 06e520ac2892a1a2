-- The record as it began. Numbers of tenths are whole so that a row stays small: times and silences in
-- tenths of a millisecond, pitches in tenths of a cent, levels in tenths of a decibel.

-- A player of this machine; the one who gives no name has the empty one.
CREATE TABLE players (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE
);

-- A line, told apart by what is written in it.
CREATE TABLE lines (
    id INTEGER PRIMARY KEY,
    content TEXT NOT NULL UNIQUE,
    title TEXT NOT NULL,
    file TEXT,
    part TEXT,
    first_bar INTEGER NOT NULL,
    last_bar INTEGER NOT NULL,
    tempo_bpm REAL NOT NULL,
    notes INTEGER NOT NULL
);

-- Its joins, by the index of the note before each; bars by their printed numbers.
CREATE TABLE joins (
    line INTEGER NOT NULL REFERENCES lines (id) ON DELETE CASCADE,
    note INTEGER NOT NULL,
    bar INTEGER NOT NULL,
    beat REAL NOT NULL,
    to_bar INTEGER NOT NULL,
    kind TEXT,
    PRIMARY KEY (line, note)
) WITHOUT ROWID;

-- A take, with its sound: by file and by hash, and copied into the data folder where that was asked for.
CREATE TABLE takes (
    id INTEGER PRIMARY KEY,
    player INTEGER NOT NULL REFERENCES players (id),
    line INTEGER NOT NULL REFERENCES lines (id),
    sound TEXT,
    file TEXT,
    kept TEXT,
    instrument TEXT,
    rig INTEGER REFERENCES rigs (id),
    at_s INTEGER NOT NULL,
    ahead_s INTEGER NOT NULL,
    day INTEGER NOT NULL,
    duration_s REAL NOT NULL,
    played_s REAL NOT NULL
);
CREATE UNIQUE INDEX takes_by_sound ON takes (player, line, sound);
CREATE INDEX takes_by_day ON takes (player, line, day);

-- A judged pass; `share` is its tempo relative to the written one.
CREATE TABLE passes (
    id INTEGER PRIMARY KEY,
    take INTEGER NOT NULL REFERENCES takes (id) ON DELETE CASCADE,
    number INTEGER NOT NULL,
    from_s REAL NOT NULL,
    to_s REAL NOT NULL,
    first_bar INTEGER NOT NULL,
    last_bar INTEGER NOT NULL,
    complete INTEGER NOT NULL,
    whole INTEGER NOT NULL,
    clean INTEGER NOT NULL,
    share REAL,
    stumbles INTEGER NOT NULL,
    written INTEGER NOT NULL,
    played_right INTEGER NOT NULL,
    wrong INTEGER NOT NULL,
    missed INTEGER NOT NULL,
    extra INTEGER NOT NULL,
    gaps INTEGER NOT NULL,
    early INTEGER NOT NULL,
    late INTEGER NOT NULL,
    bleed INTEGER NOT NULL
);
CREATE UNIQUE INDEX passes_by_take ON passes (take, number);

-- What became of each note, and of the join behind it: no fault 0, a fault 1, no join NULL. Verdicts:
-- right 0, wrong 1, missed 2. Flags: a bit each, in the order of `compare::judgement::Flag`.
CREATE TABLE notes (
    pass INTEGER NOT NULL REFERENCES passes (id) ON DELETE CASCADE,
    note INTEGER NOT NULL,
    verdict INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    timing INTEGER,
    gap INTEGER,
    cents INTEGER,
    level INTEGER,
    join_fault INTEGER,
    PRIMARY KEY (pass, note)
) WITHOUT ROWID;

-- The passes and joins of each day, summed up; made from the tables above and from nothing else.
CREATE TABLE line_days (
    player INTEGER NOT NULL,
    line INTEGER NOT NULL REFERENCES lines (id) ON DELETE CASCADE,
    day INTEGER NOT NULL,
    takes INTEGER NOT NULL,
    passes INTEGER NOT NULL,
    clean INTEGER NOT NULL,
    whole INTEGER NOT NULL,
    whole_clean INTEGER NOT NULL,
    clean_share REAL,
    minutes REAL NOT NULL,
    PRIMARY KEY (player, line, day)
) WITHOUT ROWID;
CREATE TABLE join_days (
    player INTEGER NOT NULL,
    line INTEGER NOT NULL REFERENCES lines (id) ON DELETE CASCADE,
    day INTEGER NOT NULL,
    note INTEGER NOT NULL,
    tries INTEGER NOT NULL,
    faulty INTEGER NOT NULL,
    first_faulty INTEGER NOT NULL,
    gap_sum INTEGER NOT NULL,
    gaps INTEGER NOT NULL,
    clean_share REAL,
    PRIMARY KEY (player, line, day, note)
) WITHOUT ROWID;

-- A set-up that was played with: the devices, and the way from a click to the ear as it was measured.
CREATE TABLE rigs (
    id INTEGER PRIMARY KEY,
    devices TEXT NOT NULL UNIQUE,
    round_trip_ms REAL,
    measured_s INTEGER
);
