-- atlas:delimiter \n\n

CREATE TABLE `alarms` (`id` integer NOT NULL, `test` integer NOT NULL, `statistic` real NOT NULL, `threshold` real NOT NULL, `failures` integer NOT NULL, `attempts` integer NOT NULL, `sentence` text NOT NULL, `rule_id` integer NOT NULL, `cause_id` integer NOT NULL, PRIMARY KEY (`id`), CONSTRAINT `alarms_alarm_rules_rule` FOREIGN KEY (`rule_id`) REFERENCES `alarm_rules` (`id`) ON DELETE RESTRICT, CONSTRAINT `alarms_records_cause` FOREIGN KEY (`cause_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);

CREATE INDEX `alarm_rule_id` ON `alarms` (`rule_id`);

CREATE TABLE `alarm_progress` (`id` integer NOT NULL, `turn` integer NOT NULL, `positions` json NOT NULL, `awaited` json NOT NULL, PRIMARY KEY (`id`));

CREATE TABLE `alarm_rules` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `code` text NOT NULL, `description` text NOT NULL, `grouping` integer NOT NULL, `kinds` json NOT NULL, `test` integer NOT NULL, `in_control` real NOT NULL, `out_of_control` real NOT NULL, `run_length` real NOT NULL, `alpha` real NOT NULL, `beta` real NOT NULL, `plan` json NOT NULL, `count_history` bool NOT NULL, `active` bool NOT NULL);

CREATE UNIQUE INDEX `alarm_rules_code_key` ON `alarm_rules` (`code`);

CREATE TABLE `alarm_states` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `rule_id` integer NOT NULL, `group_id` integer NOT NULL, `points` integer NOT NULL, `failures` integer NOT NULL, `attempts` integer NOT NULL, `records` integer NOT NULL, `signals` integer NOT NULL, `verdict` integer NOT NULL);

CREATE UNIQUE INDEX `alarm_state_key` ON `alarm_states` (`rule_id`, `group_id`);

-- As in 0002: what is recorded is never edited and never deleted.
CREATE TRIGGER `alarms_never_update` BEFORE UPDATE ON `alarms` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `alarms_never_delete` BEFORE DELETE ON `alarms` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;
