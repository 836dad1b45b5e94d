-- The tables and guards of layout 1 on a server, with a small ledger in them.
CREATE TABLE attempts (
	subject TEXT COLLATE "C" NOT NULL,
	failures INTEGER NOT NULL,
	failed_at TEXT COLLATE "C" NOT NULL,
	PRIMARY KEY (subject)
);
CREATE TABLE entries (
	n BIGINT NOT NULL,
	body JSON NOT NULL,
	hash TEXT COLLATE "C" NOT NULL,
	kind TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'kind') STORED NOT NULL,
	at TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'at') STORED NOT NULL,
	line TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'line') STORED,
	changeover TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'changeover') STORED,
	pos INTEGER GENERATED ALWAYS AS (CAST((body ->> 'pos') AS INTEGER)) STORED,
	step TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'step') STORED,
	person TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'person') STORED,
	witness TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'witness') STORED,
	terminal TEXT COLLATE "C" GENERATED ALWAYS AS (body ->> 'terminal') STORED,
	corrects INTEGER GENERATED ALWAYS AS (CAST((body ->> 'corrects') AS INTEGER)) STORED,
	key TEXT COLLATE "C" GENERATED ALWAYS AS (coalesce(body ->> 'key', body ->> 'chain')) STORED NOT NULL,
	PRIMARY KEY (n),
	CONSTRAINT entries_n_is_the_bodys CHECK (n = CAST((body ->> 'n') AS INTEGER)),
	CONSTRAINT entries_hash_is_whole CHECK (length(hash) = 64),
	CONSTRAINT entries_key_once UNIQUE (key),
	CONSTRAINT entries_position_once UNIQUE (changeover, pos)
);
CREATE INDEX entries_at ON entries (at);
CREATE INDEX entries_of_changeover ON entries (changeover, n);
CREATE INDEX entries_of_kind ON entries (kind, n);
CREATE INDEX entries_of_line ON entries (line, kind, n);
CREATE TABLE people (
	code TEXT COLLATE "C" NOT NULL,
	name TEXT COLLATE "C" NOT NULL,
	permission TEXT COLLATE "C" NOT NULL,
	duties TEXT COLLATE "C" NOT NULL,
	lockout TEXT COLLATE "C" NOT NULL,
	trained_on TEXT COLLATE "C",
	valid_to TEXT COLLATE "C",
	badge TEXT COLLATE "C",
	active INTEGER NOT NULL,
	PRIMARY KEY (code),
	UNIQUE (badge)
);
CREATE TABLE pins (
	code TEXT COLLATE "C" NOT NULL,
	phc TEXT COLLATE "C" NOT NULL,
	one_time INTEGER NOT NULL,
	PRIMARY KEY (code)
);
CREATE TABLE ledger_layout (version integer NOT NULL);
INSERT INTO ledger_layout VALUES (1);
CREATE FUNCTION entries_follow() RETURNS trigger LANGUAGE plpgsql SET search_path = public, pg_temp AS $guard$
DECLARE
    last_n bigint;
    last_hash text;
BEGIN
    IF TG_OP <> 'INSERT' THEN
        RAISE EXCEPTION 'floorterm: entries are never changed or deleted';
    END IF;
    PERFORM pg_advisory_xact_lock(1179407442);
    SELECT n, hash INTO last_n, last_hash FROM entries ORDER BY n DESC LIMIT 1;
    IF NEW.n <> coalesce(last_n, 0) + 1 THEN
        RAISE EXCEPTION 'floorterm: the number must follow the last one';
    END IF;
    IF (NEW.body ->> 'prev') IS DISTINCT FROM coalesce(last_hash, repeat('0', 64)) THEN
        RAISE EXCEPTION 'floorterm: the previous hash must be that of the last entry';
    END IF;
    IF encode(sha256(convert_to(NEW.body::text, 'UTF8')), 'hex') <> NEW.hash THEN
        RAISE EXCEPTION 'floorterm: the hash is not that of the body';
    END IF;
    RETURN NEW;
END
$guard$;
CREATE FUNCTION people_remain() RETURNS trigger LANGUAGE plpgsql SET search_path = public, pg_temp AS $guard$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        IF NEW.code = OLD.code THEN
            RETURN NEW;
        END IF;
        RAISE EXCEPTION 'floorterm: a code is never given again';
    END IF;
    RAISE EXCEPTION 'floorterm: people are disabled, never deleted';
END
$guard$;
CREATE TRIGGER entries_follow BEFORE INSERT OR DELETE OR UPDATE ON entries FOR EACH ROW EXECUTE FUNCTION entries_follow();
CREATE TRIGGER entries_whole BEFORE TRUNCATE ON entries FOR EACH STATEMENT EXECUTE FUNCTION entries_follow();
CREATE TRIGGER people_remain BEFORE DELETE OR UPDATE ON people FOR EACH ROW EXECUTE FUNCTION people_remain();
CREATE TRIGGER people_whole BEFORE TRUNCATE ON people FOR EACH STATEMENT EXECUTE FUNCTION people_remain();
INSERT INTO entries (n, body, hash) VALUES (1, '{"at":"2026-03-02T14:05:00.000000Z","chain":"id-1","kind":"ledger.start","n":1,"offset":"-07:00","plant":"Example Plant","plant_id":"example","prev":"0000000000000000000000000000000000000000000000000000000000000000","time_zone":"America/Denver","v":1}', 'e0f22b1d22b59f14fd44346cc3276529ee6163c3ba2f1d89d0949cb70db641df');
INSERT INTO entries (n, body, hash) VALUES (2, '{"at":"2026-03-02T14:05:00.000000Z","key":"id-2","kind":"person.added","n":2,"offset":"-07:00","prev":"e0f22b1d22b59f14fd44346cc3276529ee6163c3ba2f1d89d0949cb70db641df","v":1,"value":{"active":true,"code":"A01","duties":[],"lockout":"other","name":"Ada Lind","permission":"administrator"}}', 'c3477923859c2374426da63d7ab55ad321654475b9bf48c89c408da73a991227');
INSERT INTO entries (n, body, hash) VALUES (3, '{"at":"2026-03-02T14:05:00.000000Z","key":"id-3","kind":"person.added","meaning":"performed","n":3,"name":"Ada Lind","offset":"-07:00","person":"A01","prev":"c3477923859c2374426da63d7ab55ad321654475b9bf48c89c408da73a991227","role":"administrator","v":1,"value":{"active":true,"code":"S01","duties":[],"lockout":"other","name":"Sam Ortiz","permission":"supervisor"}}', '69d7cb88b4a6d59d4f2939115e31151286a897008b08c13f2541e15027b6a5cd');
INSERT INTO entries (n, body, hash) VALUES (4, '{"at":"2026-03-02T14:05:00.000000Z","key":"id-4","kind":"person.added","meaning":"performed","n":4,"name":"Ada Lind","offset":"-07:00","person":"A01","prev":"69d7cb88b4a6d59d4f2939115e31151286a897008b08c13f2541e15027b6a5cd","role":"administrator","v":1,"value":{"active":true,"code":"P01","duties":["line_operator","mixer"],"lockout":"authorized","name":"Zoë Müller","permission":"operator"}}', '4e1f2df617e2696cfd097fbe9587295b2e291dc601111e80833c8fd6aab41c8e');
INSERT INTO entries (n, body, hash) VALUES (5, '{"at":"2026-03-02T14:05:00.000000Z","key":"id-5","kind":"person.added","meaning":"performed","n":5,"name":"Ada Lind","offset":"-07:00","person":"A01","prev":"4e1f2df617e2696cfd097fbe9587295b2e291dc601111e80833c8fd6aab41c8e","role":"administrator","v":1,"value":{"active":true,"badge":"B-77","code":"P02","duties":[],"lockout":"other","name":"Jo Pell","permission":"operator"}}', '58e79efb6fff84eadb6db8eb7c0e5e3fbf103a831c7ac1def65db83c85b416e2');
INSERT INTO entries (n, body, hash) VALUES (6, '{"at":"2026-03-02T14:05:00.000000Z","changeover":"C-0001","key":"k1","kind":"work.note","line":"L1","n":6,"name":"Zoë Müller","offset":"-07:00","person":"P01","pos":1,"prev":"58e79efb6fff84eadb6db8eb7c0e5e3fbf103a831c7ac1def65db83c85b416e2","role":"operator","terminal":"T1","v":1,"value":{"text":"k1"}}', '27aa612069aa2b1f7e6aaf2e01591a11bb7d94ceebe5d8bc91c727f8999153a1');
INSERT INTO entries (n, body, hash) VALUES (7, '{"at":"2026-03-02T14:05:00.000000Z","key":"id-6","kind":"seal.made","n":7,"offset":"-07:00","prev":"27aa612069aa2b1f7e6aaf2e01591a11bb7d94ceebe5d8bc91c727f8999153a1","v":1,"value":{"hash":"27aa612069aa2b1f7e6aaf2e01591a11bb7d94ceebe5d8bc91c727f8999153a1","n":6,"to":"paper"}}', '2dcf108a3fa93e8f62100fb15d578ff74c3c2e7999da3c5515c1eca3dd67aca2');
INSERT INTO people (code, name, permission, duties, lockout, trained_on, valid_to, badge, active) VALUES ('A01', 'Ada Lind', 'administrator', '', 'other', NULL, NULL, NULL, 1);
INSERT INTO people (code, name, permission, duties, lockout, trained_on, valid_to, badge, active) VALUES ('P01', 'Zoë Müller', 'operator', 'line_operator
mixer', 'authorized', NULL, NULL, NULL, 1);
INSERT INTO people (code, name, permission, duties, lockout, trained_on, valid_to, badge, active) VALUES ('P02', 'Jo Pell', 'operator', '', 'other', NULL, NULL, 'B-77', 1);
INSERT INTO people (code, name, permission, duties, lockout, trained_on, valid_to, badge, active) VALUES ('S01', 'Sam Ortiz', 'supervisor', '', 'other', NULL, NULL, NULL, 1);
INSERT INTO pins (code, phc, one_time) VALUES ('A01', '$argon2id$v=19$m=8,t=1,p=1$QAFrnY2VlmdgpC+vTMLQaA$+yE1024Zy3ReSEqduDiQ5eQirijYdl2mQWi1IehZhJM', 0);
INSERT INTO pins (code, phc, one_time) VALUES ('P01', '$argon2id$v=19$m=8,t=1,p=1$mPxB9C3II45pJvae/HxFgw$iAOBdEOVqMN/bq8ZX8V8IUnoYIq1osLTE89cDrODtBM', 0);
INSERT INTO pins (code, phc, one_time) VALUES ('P02', '$argon2id$v=19$m=8,t=1,p=1$yuM5kXC+ljI774QescAxOQ$BpRAAoY4PZ57rabMHo+znG7hX3pkJXqpAarIxseiuL4', 0);
INSERT INTO pins (code, phc, one_time) VALUES ('S01', '$argon2id$v=19$m=8,t=1,p=1$KyvPubatHRyJQI+pZcPWqg$c6+ANHBsu8yDaCJCbL+FfC6i2TKgYuCOvOhzDTNTVkg', 0);
