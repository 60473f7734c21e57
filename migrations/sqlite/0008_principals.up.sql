-- atlas:delimiter \n\n

CREATE TABLE `audit_entries` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `create_time` integer NOT NULL, `last_time` integer NOT NULL, `times` integer NOT NULL, `principal` text NOT NULL, `credential` text NOT NULL, `peer` text NOT NULL, `act` text NOT NULL, `object` text NOT NULL, `outcome` integer NOT NULL, `detail` text NOT NULL, `request_id` text NOT NULL);

CREATE INDEX `auditentry_create_time` ON `audit_entries` (`create_time`);

CREATE TABLE `credentials` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `uid` text NOT NULL, `kind` integer NOT NULL, `subject` text NOT NULL, `digest` blob NOT NULL, `create_time` integer NOT NULL, `made_by` text NOT NULL, `expire_time` integer NOT NULL, `principal_id` integer NOT NULL, CONSTRAINT `credentials_principals_principal` FOREIGN KEY (`principal_id`) REFERENCES `principals` (`id`) ON DELETE RESTRICT);

CREATE UNIQUE INDEX `credentials_uid_key` ON `credentials` (`uid`);

CREATE INDEX `credential_kind_subject` ON `credentials` (`kind`, `subject`);

CREATE TABLE `credential_revocations` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `create_time` integer NOT NULL, `made_by` text NOT NULL, `credential_id` integer NOT NULL, CONSTRAINT `credential_revocations_credentials_credential` FOREIGN KEY (`credential_id`) REFERENCES `credentials` (`id`) ON DELETE RESTRICT);

CREATE UNIQUE INDEX `credentialrevocation_credential_id` ON `credential_revocations` (`credential_id`);

CREATE TABLE `grants` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `role` integer NOT NULL, `region` text NOT NULL, `create_time` integer NOT NULL, `made_by` text NOT NULL, `principal_id` integer NOT NULL, `site_id` integer NULL, CONSTRAINT `grants_principals_principal` FOREIGN KEY (`principal_id`) REFERENCES `principals` (`id`) ON DELETE RESTRICT, CONSTRAINT `grants_sites_site` FOREIGN KEY (`site_id`) REFERENCES `sites` (`id`) ON DELETE RESTRICT);

CREATE INDEX `grant_principal_id` ON `grants` (`principal_id`);

CREATE TABLE `grant_withdrawals` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `create_time` integer NOT NULL, `made_by` text NOT NULL, `grant_id` integer NOT NULL, CONSTRAINT `grant_withdrawals_grants_grant` FOREIGN KEY (`grant_id`) REFERENCES `grants` (`id`) ON DELETE RESTRICT);

CREATE UNIQUE INDEX `grantwithdrawal_grant_id` ON `grant_withdrawals` (`grant_id`);

CREATE TABLE `principals` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `name` text NOT NULL, `description` text NOT NULL, `create_time` integer NOT NULL, `made_by` text NOT NULL);

CREATE UNIQUE INDEX `principals_name_key` ON `principals` (`name`);

CREATE TABLE `principal_standings` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `disabled` bool NOT NULL, `create_time` integer NOT NULL, `made_by` text NOT NULL, `principal_id` integer NOT NULL, CONSTRAINT `principal_standings_principals_principal` FOREIGN KEY (`principal_id`) REFERENCES `principals` (`id`) ON DELETE RESTRICT);

-- As in 0002: who may do what, and what was done about it, is never edited and never deleted.
CREATE TRIGGER `principals_never_update` BEFORE UPDATE ON `principals` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `principals_never_delete` BEFORE DELETE ON `principals` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `principal_standings_never_update` BEFORE UPDATE ON `principal_standings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `principal_standings_never_delete` BEFORE DELETE ON `principal_standings` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `grants_never_update` BEFORE UPDATE ON `grants` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `grants_never_delete` BEFORE DELETE ON `grants` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `grant_withdrawals_never_update` BEFORE UPDATE ON `grant_withdrawals` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `grant_withdrawals_never_delete` BEFORE DELETE ON `grant_withdrawals` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `credentials_never_update` BEFORE UPDATE ON `credentials` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `credentials_never_delete` BEFORE DELETE ON `credentials` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `credential_revocations_never_update` BEFORE UPDATE ON `credential_revocations` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `credential_revocations_never_delete` BEFORE DELETE ON `credential_revocations` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `audit_entries_never_update` BEFORE UPDATE ON `audit_entries` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;

CREATE TRIGGER `audit_entries_never_delete` BEFORE DELETE ON `audit_entries` BEGIN SELECT RAISE(ABORT, 'a record is never edited or deleted'); END;
