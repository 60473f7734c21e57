-- atlas:delimiter \n\n

-- As in 0002: what is recorded is never edited and never deleted.
CREATE TRIGGER `sealings_never_update` BEFORE UPDATE ON `sealings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `sealings_never_delete` BEFORE DELETE ON `sealings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `inspections_never_update` BEFORE UPDATE ON `inspections` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `inspections_never_delete` BEFORE DELETE ON `inspections` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `custodies_never_update` BEFORE UPDATE ON `custodies` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `custodies_never_delete` BEFORE DELETE ON `custodies` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `holds_never_update` BEFORE UPDATE ON `holds` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `holds_never_delete` BEFORE DELETE ON `holds` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `dispositions_never_update` BEFORE UPDATE ON `dispositions` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `dispositions_never_delete` BEFORE DELETE ON `dispositions` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `sign_offs_never_update` BEFORE UPDATE ON `sign_offs` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `sign_offs_never_delete` BEFORE DELETE ON `sign_offs` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `corrections_never_update` BEFORE UPDATE ON `corrections` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `corrections_never_delete` BEFORE DELETE ON `corrections` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `findings_never_update` BEFORE UPDATE ON `findings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `findings_never_delete` BEFORE DELETE ON `findings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `blobs_never_update` BEFORE UPDATE ON `blobs` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `blobs_never_delete` BEFORE DELETE ON `blobs` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `attachments_never_update` BEFORE UPDATE ON `attachments` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `attachments_never_delete` BEFORE DELETE ON `attachments` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;
