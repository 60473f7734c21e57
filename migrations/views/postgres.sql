-- Views for notebooks (PostgreSQL), over schema version 7 and later.
--
-- They are temporary: a notebook runs this file at the start of its connection, and they
-- are gone with it. Nothing is written to the database, and no later migration finds
-- them in its way.
--
-- Read with an account that may only read. What is written past the server breaks the
-- chains, and `trackerd verify` says so.
--
-- A record that a correction withdrew or replaced is in none of them: the replacement
-- is. Days are those at the site; times are UTC. Words are those of the API and of
-- import-format; a word that is not given is NULL.

-- notebook_counts: fasteners by site, day, lot, thread, treatment and driving method, as
-- the rates are reckoned from. A row counts, in fasteners:
--   tightened   in a first pass
--   failures    lost to a thread failure: galling to broken-fastener
--   attempts    both together
--   incidents   in incidents of all kinds, thread failures included
-- The rate of galling is not in it: count notebook_incidents.
CREATE TEMP VIEW notebook_counts AS
SELECT s.code AS site, s.region, DATE '1970-01-01' + CAST(y.day AS integer) AS day, l.number AS lot, l.supplier, l.thread,
       CASE y.treatment WHEN 1 THEN 'none' WHEN 2 THEN 'anti-seize' WHEN 3 THEN 'thread-locking-compound' WHEN 4 THEN 'prevailing-torque-nut' WHEN 5 THEN 'other-lubricant' END AS treatment,
       CASE y.method WHEN 1 THEN 'hand' WHEN 2 THEN 'impact' WHEN 3 THEN 'impact-then-torque-tool' WHEN 4 THEN 'nutrunner' END AS driving_method,
       SUM(CASE WHEN y.outcome = 0 THEN y.fasteners ELSE 0 END) AS tightened,
       SUM(CASE WHEN y.outcome BETWEEN 1 AND 6 THEN y.fasteners ELSE 0 END) AS failures,
       SUM(CASE WHEN y.outcome BETWEEN 0 AND 6 THEN y.fasteners ELSE 0 END) AS attempts,
       SUM(CASE WHEN y.outcome > 0 THEN y.fasteners ELSE 0 END) AS incidents
  FROM tallies y
  JOIN sites s ON s.id = y.site_id
  LEFT JOIN lots l ON l.id = y.lot_id
 GROUP BY s.code, s.region, y.day, l.number, l.supplier, l.thread, y.treatment, y.method;

-- notebook_tightenings: a row for each tightening. id is the record's UUID in hexadecimal
-- digits; torque_n_m is NULL where no tool that shows torque was used.
CREATE TEMP VIEW notebook_tightenings AS
SELECT encode(r.uid, 'hex') AS id, to_timestamp(r.occur_time / 1000000.0) AS occurred_at, DATE '1970-01-01' + CAST(r.local_day AS integer) AS day,
       s.code AS site, s.region, s.code || '/' || t.tag || '/' || c.tag || '/' || j.tag AS joint,
       l.number AS lot, l.supplier, o.serial AS tool, p.code AS person,
       CASE x.treatment WHEN 1 THEN 'none' WHEN 2 THEN 'anti-seize' WHEN 3 THEN 'thread-locking-compound' WHEN 4 THEN 'prevailing-torque-nut' WHEN 5 THEN 'other-lubricant' END AS treatment,
       CASE x.method WHEN 1 THEN 'hand' WHEN 2 THEN 'impact' WHEN 3 THEN 'impact-then-torque-tool' WHEN 4 THEN 'nutrunner' END AS driving_method,
       CASE x.pass WHEN 1 THEN 'first' WHEN 2 THEN 'final' WHEN 3 THEN 're-tightening' END AS pass,
       x.fasteners, x.torque_nm AS torque_n_m
  FROM tightenings x
  JOIN records r ON r.id = x.id
  JOIN sites s ON s.id = r.site_id
  LEFT JOIN joints j ON j.id = r.joint_id
  LEFT JOIN cells c ON c.id = j.cell_id
  LEFT JOIN towers t ON t.id = c.tower_id
  LEFT JOIN lots l ON l.id = r.lot_id
  LEFT JOIN tools o ON o.id = r.tool_id
  LEFT JOIN people p ON p.id = r.person_id
 WHERE NOT EXISTS (SELECT 1 FROM corrections k WHERE k.corrected_id = r.id);

-- notebook_incidents: a row for each incident; fasteners is 0 where it is about none.
CREATE TEMP VIEW notebook_incidents AS
SELECT encode(r.uid, 'hex') AS id, to_timestamp(r.occur_time / 1000000.0) AS occurred_at, DATE '1970-01-01' + CAST(r.local_day AS integer) AS day,
       s.code AS site, s.region, s.code || '/' || t.tag || '/' || c.tag || '/' || j.tag AS joint,
       l.number AS lot, l.supplier, o.serial AS tool, p.code AS person,
       CASE x.kind WHEN 1 THEN 'galling' WHEN 2 THEN 'seized' WHEN 3 THEN 'stripped-tapping-screw' WHEN 4 THEN 'stripped-thread' WHEN 5 THEN 'crossed-thread' WHEN 6 THEN 'broken-fastener' WHEN 7 THEN 'misaligned-hole' WHEN 8 THEN 'seal-gap' WHEN 9 THEN 'leak' WHEN 10 THEN 'coating-damage' WHEN 11 THEN 'dropped-tool' WHEN 12 THEN 'near-miss' END AS kind,
       CASE x.treatment WHEN 1 THEN 'none' WHEN 2 THEN 'anti-seize' WHEN 3 THEN 'thread-locking-compound' WHEN 4 THEN 'prevailing-torque-nut' WHEN 5 THEN 'other-lubricant' END AS treatment,
       CASE x.method WHEN 1 THEN 'hand' WHEN 2 THEN 'impact' WHEN 3 THEN 'impact-then-torque-tool' WHEN 4 THEN 'nutrunner' END AS driving_method,
       x.fasteners, x.noticed, x.action
  FROM incidents x
  JOIN records r ON r.id = x.id
  JOIN sites s ON s.id = r.site_id
  LEFT JOIN joints j ON j.id = r.joint_id
  LEFT JOIN cells c ON c.id = j.cell_id
  LEFT JOIN towers t ON t.id = c.tower_id
  LEFT JOIN lots l ON l.id = r.lot_id
  LEFT JOIN tools o ON o.id = r.tool_id
  LEFT JOIN people p ON p.id = r.person_id
 WHERE NOT EXISTS (SELECT 1 FROM corrections k WHERE k.corrected_id = r.id);

-- notebook_open_holds: a row for each hold that is neither released nor withdrawn. rule
-- is NULL where a person placed it; lot or tool is given where it is on one.
CREATE TEMP VIEW notebook_open_holds AS
SELECT encode(r.uid, 'hex') AS id, to_timestamp(r.occur_time / 1000000.0) AS occurred_at, s.code AS site,
       CASE WHEN c.id IS NOT NULL THEN s.code || '/' || t.tag || '/' || c.tag ELSE NULL END AS cell,
       j.tag AS joint, l.number AS lot, o.serial AS tool, NULLIF(x.rule, '') AS rule, x.reason
  FROM holds x
  JOIN records r ON r.id = x.id
  JOIN sites s ON s.id = r.site_id
  LEFT JOIN joints j ON j.id = x.joint_id
  LEFT JOIN cells c ON c.id = COALESCE(x.cell_id, j.cell_id)
  LEFT JOIN towers t ON t.id = c.tower_id
  LEFT JOIN lots l ON l.id = x.lot_id
  LEFT JOIN tools o ON o.id = x.tool_id
 WHERE x.action = 1
   AND NOT EXISTS (SELECT 1 FROM holds e WHERE e.released_hold_id = x.id)
   AND NOT EXISTS (SELECT 1 FROM corrections k WHERE k.corrected_id = r.id);
