-- A journal of form 1, as sqlite3's own iterdump gives it.  The site is invented.
PRAGMA page_size = 1024;
BEGIN TRANSACTION;
CREATE TABLE alert (
    number INTEGER PRIMARY KEY,
    lot TEXT NOT NULL,
    subject TEXT NOT NULL,
    name TEXT NOT NULL,
    answer INTEGER NOT NULL  -- 1 asks for an answer, 0 is only worth knowing
) STRICT;
INSERT INTO "alert" VALUES(1,'JY-1','limit','come-up',1);
CREATE TABLE alert_cursor (
    source TEXT PRIMARY KEY,
    reached INTEGER NOT NULL
) STRICT;
INSERT INTO "alert_cursor" VALUES('entry',2);
INSERT INTO "alert_cursor" VALUES('event',1);
CREATE TABLE alert_signal (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    signal TEXT NOT NULL,
    state TEXT NOT NULL,  -- of the alert, after it
    at_ms INTEGER NOT NULL,
    steady_ms INTEGER NOT NULL,
    event INTEGER NOT NULL,  -- 0 for an acknowledgement
    who TEXT NOT NULL,
    standing TEXT NOT NULL,
    severity INTEGER NOT NULL,
    title TEXT NOT NULL,
    body TEXT NOT NULL
) STRICT;
INSERT INTO "alert_signal" VALUES(1,1,'new or worse','unacknowledged',1768021230000,1768021232000,1,'','at risk',1,'come-up at risk: lot JY-1, smokehouse north','it is slow');
CREATE TABLE attempt (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    telling INTEGER NOT NULL REFERENCES telling (number),
    contact TEXT NOT NULL,
    at_ms INTEGER NOT NULL,
    steady_ms INTEGER NOT NULL,
    outcome TEXT NOT NULL,
    why TEXT NOT NULL
) STRICT;
CREATE TABLE channel (number INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;
INSERT INTO "channel" VALUES(1,'core-1');
INSERT INTO "channel" VALUES(2,'chamber');
CREATE TABLE cook (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL UNIQUE CHECK (lot <> ''),
      smokehouse TEXT NOT NULL,
      schedule TEXT NOT NULL,
      schedule_path TEXT NOT NULL,
      channels TEXT NOT NULL,  -- a JSON list of objects
      begun_ms INTEGER NOT NULL,
      who TEXT NOT NULL
    ) STRICT;
INSERT INTO "cook" VALUES(1,'JY-1','north','schedule: invented
','links.yaml','[{"name": "core-1", "role": "core", "every_ms": 10000, "quiet_ms": 120000, "accuracy_mc": 500, "probe": "28-0316a2795e1c"}, {"name": "chamber", "role": "chamber", "every_ms": 10000, "quiet_ms": 120000, "accuracy_mc": 1000, "probe": ""}]',1768021200000,'AB');
CREATE TABLE delivery (
      packet INTEGER PRIMARY KEY CHECK (packet BETWEEN 1 AND 65535),
      digest BLOB NOT NULL
    ) STRICT;
INSERT INTO "delivery" VALUES(7,X'646967657374');
CREATE TABLE entry (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL,
      kind TEXT NOT NULL,
      at_ms INTEGER NOT NULL,
      entered_ms INTEGER NOT NULL,
      who TEXT NOT NULL,
      text TEXT NOT NULL,
      about TEXT NOT NULL
    ) STRICT;
INSERT INTO "entry" VALUES(1,'JY-1','begin',1768021200000,1768021200000,'AB','','');
INSERT INTO "entry" VALUES(2,'JY-1','note',1768021200001,1768021200002,'AB','relit the fire','smoke');
CREATE TABLE event (
      number INTEGER PRIMARY KEY,
      lot TEXT NOT NULL,
      at_ms INTEGER NOT NULL,
      subject TEXT NOT NULL,
      name TEXT NOT NULL,
      channel TEXT NOT NULL,
      was TEXT NOT NULL,
      now TEXT NOT NULL,
      why TEXT NOT NULL,
      noticed_ms INTEGER NOT NULL,
      UNIQUE (lot, at_ms, subject, name, channel, now)
    ) STRICT;
INSERT INTO "event" VALUES(1,'JY-1',1768021230000,'limit','come-up','core-1','within','at risk','it is slow',1768021231000);
CREATE TABLE horizon (lot TEXT PRIMARY KEY, at_ms INTEGER NOT NULL)
    STRICT, WITHOUT ROWID;
INSERT INTO "horizon" VALUES('JY-1',1768021240000);
CREATE TABLE late (
      number INTEGER PRIMARY KEY, channel INTEGER NOT NULL, at_ms INTEGER NOT NULL
    ) STRICT;
INSERT INTO "late" VALUES(1,2,1768021220000);
INSERT INTO "late" VALUES(2,1,1768021225000);
CREATE TABLE mirror (
      target TEXT PRIMARY KEY, late INTEGER NOT NULL, event INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;
INSERT INTO "mirror" VALUES('there',1,1);
CREATE TABLE mirror_channel (
      target TEXT NOT NULL, channel INTEGER NOT NULL, at_ms INTEGER NOT NULL,
      PRIMARY KEY (target, channel)
    ) STRICT, WITHOUT ROWID;
INSERT INTO "mirror_channel" VALUES('there',1,1768021220000);
CREATE TABLE reading (
      channel INTEGER NOT NULL REFERENCES channel,
      at_ms INTEGER NOT NULL,
      quality INTEGER NOT NULL,  -- place in rules.facts.Quality
      value_mc INTEGER NOT NULL,
      uncertainty_mc INTEGER NOT NULL,
      delay_ms INTEGER,  -- from at_ms to its receipt; NULL: nobody received it
      PRIMARY KEY (channel, at_ms, quality)
    ) STRICT, WITHOUT ROWID;
INSERT INTO "reading" VALUES(1,1768021200000,0,8000,500,40);
INSERT INTO "reading" VALUES(1,1768021210000,0,8100,500,40);
INSERT INTO "reading" VALUES(1,1768021220000,0,8200,500,40);
INSERT INTO "reading" VALUES(1,1768021225000,0,8250,500,40);
INSERT INTO "reading" VALUES(1,1768021230000,0,8300,500,40);
INSERT INTO "reading" VALUES(1,1768021240000,0,8400,500,40);
INSERT INTO "reading" VALUES(1,1768021250000,0,8500,500,40);
INSERT INTO "reading" VALUES(2,1768021200000,0,20000,1000,40);
INSERT INTO "reading" VALUES(2,1768021210000,0,20620,1000,40);
INSERT INTO "reading" VALUES(2,1768021220000,0,21240,1000,40);
INSERT INTO "reading" VALUES(2,1768021220000,1,21240,1000,40);
INSERT INTO "reading" VALUES(2,1768021230000,0,21860,1000,40);
INSERT INTO "reading" VALUES(2,1768021240000,0,22480,1000,40);
INSERT INTO "reading" VALUES(2,1768021250000,0,23100,1000,40);
CREATE TABLE refusal (
      number INTEGER PRIMARY KEY,
      topic TEXT NOT NULL,
      channel TEXT NOT NULL,
      received_ms INTEGER NOT NULL,
      why TEXT NOT NULL,
      payload BLOB NOT NULL
    ) STRICT;
INSERT INTO "refusal" VALUES(1,'yard/cores','core-1',1768021200005,'not the agreed form',X'00FF7B');
CREATE TABLE telling (
    number INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alert (number),
    signal INTEGER NOT NULL REFERENCES alert_signal (number),
    contact TEXT NOT NULL,
    first_ms INTEGER NOT NULL,
    again_ms INTEGER NOT NULL
) STRICT;
INSERT INTO "telling" VALUES(1,1,1,'operator',1768021232000,600000);
CREATE TRIGGER reading_is_late AFTER INSERT ON reading
    WHEN EXISTS (
      SELECT 1 FROM reading WHERE channel = NEW.channel AND at_ms >= NEW.at_ms
      AND (at_ms, quality) <> (NEW.at_ms, NEW.quality)
    ) BEGIN
      INSERT INTO late (channel, at_ms) VALUES (NEW.channel, NEW.at_ms);
    END;
CREATE INDEX entry_of_lot ON entry (lot);
CREATE TRIGGER channel_keeps_update BEFORE UPDATE ON channel BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of channel is refused'); END;
CREATE TRIGGER channel_keeps_delete BEFORE DELETE ON channel BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of channel is refused'); END;
CREATE TRIGGER reading_keeps_update BEFORE UPDATE ON reading BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of reading is refused'); END;
CREATE TRIGGER reading_keeps_delete BEFORE DELETE ON reading BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of reading is refused'); END;
CREATE TRIGGER refusal_keeps_update BEFORE UPDATE ON refusal BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of refusal is refused'); END;
CREATE TRIGGER refusal_keeps_delete BEFORE DELETE ON refusal BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of refusal is refused'); END;
CREATE TRIGGER cook_keeps_update BEFORE UPDATE ON cook BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of cook is refused'); END;
CREATE TRIGGER cook_keeps_delete BEFORE DELETE ON cook BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of cook is refused'); END;
CREATE TRIGGER entry_keeps_update BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of entry is refused'); END;
CREATE TRIGGER entry_keeps_delete BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of entry is refused'); END;
CREATE TRIGGER event_keeps_update BEFORE UPDATE ON event BEGIN SELECT RAISE(ABORT, 'the journal only grows: UPDATE of a row of event is refused'); END;
CREATE TRIGGER event_keeps_delete BEFORE DELETE ON event BEGIN SELECT RAISE(ABORT, 'the journal only grows: DELETE of a row of event is refused'); END;
CREATE INDEX alert_key ON alert (lot, subject, name);
CREATE INDEX alert_signal_of ON alert_signal (alert);
CREATE INDEX telling_of ON telling (alert);
CREATE INDEX attempt_of ON attempt (alert);
CREATE INDEX attempt_at ON attempt (telling);
CREATE TRIGGER alert_UPDATE BEFORE UPDATE ON alert BEGIN SELECT RAISE(ABORT, 'alert only grows'); END;
CREATE TRIGGER alert_DELETE BEFORE DELETE ON alert BEGIN SELECT RAISE(ABORT, 'alert only grows'); END;
CREATE TRIGGER alert_signal_UPDATE BEFORE UPDATE ON alert_signal BEGIN SELECT RAISE(ABORT, 'alert_signal only grows'); END;
CREATE TRIGGER alert_signal_DELETE BEFORE DELETE ON alert_signal BEGIN SELECT RAISE(ABORT, 'alert_signal only grows'); END;
CREATE TRIGGER telling_UPDATE BEFORE UPDATE ON telling BEGIN SELECT RAISE(ABORT, 'telling only grows'); END;
CREATE TRIGGER telling_DELETE BEFORE DELETE ON telling BEGIN SELECT RAISE(ABORT, 'telling only grows'); END;
CREATE TRIGGER attempt_UPDATE BEFORE UPDATE ON attempt BEGIN SELECT RAISE(ABORT, 'attempt only grows'); END;
CREATE TRIGGER attempt_DELETE BEFORE DELETE ON attempt BEGIN SELECT RAISE(ABORT, 'attempt only grows'); END;
COMMIT;
PRAGMA application_id = 1182100833;
PRAGMA user_version = 1;
PRAGMA journal_mode = WAL;
