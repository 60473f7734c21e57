-- atlas:delimiter \n\n

-- A record is never edited and never deleted, whoever asks.
CREATE TRIGGER `records_never_update` BEFORE UPDATE ON `records` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `records_never_delete` BEFORE DELETE ON `records` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `tightenings_never_update` BEFORE UPDATE ON `tightenings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `tightenings_never_delete` BEFORE DELETE ON `tightenings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `incidents_never_update` BEFORE UPDATE ON `incidents` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `incidents_never_delete` BEFORE DELETE ON `incidents` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `calibrations_never_update` BEFORE UPDATE ON `calibrations` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `calibrations_never_delete` BEFORE DELETE ON `calibrations` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `lot_movements_never_update` BEFORE UPDATE ON `lot_movements` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `lot_movements_never_delete` BEFORE DELETE ON `lot_movements` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `specification_revisions_never_update` BEFORE UPDATE ON `specification_revisions` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `specification_revisions_never_delete` BEFORE DELETE ON `specification_revisions` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;
