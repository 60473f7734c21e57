DROP TRIGGER `alarms_never_delete`;
DROP TRIGGER `alarms_never_update`;
-- reverse: create index "alarm_state_key" to table: "alarm_states"
DROP INDEX `alarm_state_key`;
-- reverse: create "alarm_states" table
DROP TABLE `alarm_states`;
-- reverse: create index "alarm_rules_code_key" to table: "alarm_rules"
DROP INDEX `alarm_rules_code_key`;
-- reverse: create "alarm_rules" table
DROP TABLE `alarm_rules`;
-- reverse: create "alarm_progress" table
DROP TABLE `alarm_progress`;
-- reverse: create index "alarm_rule_id" to table: "alarms"
DROP INDEX `alarm_rule_id`;
-- reverse: create "alarms" table
DROP TABLE `alarms`;
