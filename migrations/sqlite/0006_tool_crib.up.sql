-- atlas:delimiter \n\n

-- Columns are added one by one: a table made anew would lose its triggers.
ALTER TABLE `calibrations` ADD COLUMN `document` integer NOT NULL DEFAULT (0);

ALTER TABLE `calibrations` ADD COLUMN `rule` integer NOT NULL DEFAULT (0);

ALTER TABLE `calibrations` ADD COLUMN `stated_verdict` integer NOT NULL DEFAULT (0);

ALTER TABLE `calibrations` ADD COLUMN `air_c` real NULL;

ALTER TABLE `calibrations` ADD COLUMN `humidity_pct` real NULL;

ALTER TABLE `calibrations` ADD COLUMN `device_uncertainty_pct` real NOT NULL DEFAULT (0);

ALTER TABLE `calibrations` ADD COLUMN `verdict` json NULL;

CREATE INDEX `calibration_certificate` ON `calibrations` (`certificate`);

ALTER TABLE `tools` ADD COLUMN `rated_load_kg` real NOT NULL DEFAULT (0);

ALTER TABLE `tools` ADD COLUMN `policies` json NULL;

ALTER TABLE `custodies` ADD COLUMN `override_id` integer NULL;

ALTER TABLE `custodies` ADD COLUMN `override_reason` text NOT NULL DEFAULT ('');

CREATE TABLE `tool_checks` (`id` integer NOT NULL, `action` integer NOT NULL, `result` integer NOT NULL, `certificate` text NOT NULL, PRIMARY KEY (`id`));

-- As in 0002: what is recorded is never edited and never deleted.
CREATE TRIGGER `tool_checks_never_update` BEFORE UPDATE ON `tool_checks` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `tool_checks_never_delete` BEFORE DELETE ON `tool_checks` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;
