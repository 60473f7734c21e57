DROP TRIGGER `audit_entries_never_delete`;
DROP TRIGGER `audit_entries_never_update`;
DROP TRIGGER `credential_revocations_never_delete`;
DROP TRIGGER `credential_revocations_never_update`;
DROP TRIGGER `credentials_never_delete`;
DROP TRIGGER `credentials_never_update`;
DROP TRIGGER `grant_withdrawals_never_delete`;
DROP TRIGGER `grant_withdrawals_never_update`;
DROP TRIGGER `grants_never_delete`;
DROP TRIGGER `grants_never_update`;
DROP TRIGGER `principal_standings_never_delete`;
DROP TRIGGER `principal_standings_never_update`;
DROP TRIGGER `principals_never_delete`;
DROP TRIGGER `principals_never_update`;
-- reverse: create "principal_standings" table
DROP TABLE `principal_standings`;
-- reverse: create index "principals_name_key" to table: "principals"
DROP INDEX `principals_name_key`;
-- reverse: create "principals" table
DROP TABLE `principals`;
-- reverse: create index "grantwithdrawal_grant_id" to table: "grant_withdrawals"
DROP INDEX `grantwithdrawal_grant_id`;
-- reverse: create "grant_withdrawals" table
DROP TABLE `grant_withdrawals`;
-- reverse: create index "grant_principal_id" to table: "grants"
DROP INDEX `grant_principal_id`;
-- reverse: create "grants" table
DROP TABLE `grants`;
-- reverse: create index "credentialrevocation_credential_id" to table: "credential_revocations"
DROP INDEX `credentialrevocation_credential_id`;
-- reverse: create "credential_revocations" table
DROP TABLE `credential_revocations`;
-- reverse: create index "credential_kind_subject" to table: "credentials"
DROP INDEX `credential_kind_subject`;
-- reverse: create index "credentials_uid_key" to table: "credentials"
DROP INDEX `credentials_uid_key`;
-- reverse: create "credentials" table
DROP TABLE `credentials`;
-- reverse: create index "auditentry_create_time" to table: "audit_entries"
DROP INDEX `auditentry_create_time`;
-- reverse: create "audit_entries" table
DROP TABLE `audit_entries`;
