-- add column "offline" to table: "records"; the table is not rebuilt, since that would drop its triggers
ALTER TABLE `records` ADD COLUMN `offline` integer NOT NULL DEFAULT 0;
-- drop index "record_tool_id_occur_time" from table: "records"
DROP INDEX `record_tool_id_occur_time`;
-- create index "record_tool_id_kind_occur_time" to table: "records"
CREATE INDEX `record_tool_id_kind_occur_time` ON `records` (`tool_id`, `kind`, `occur_time`);
-- create "attachments" table
CREATE TABLE `attachments` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `sha256` blob NOT NULL, `file_name` text NOT NULL, `media_type` text NOT NULL, `size` integer NOT NULL, `create_time` integer NOT NULL, `record_id` integer NOT NULL, CONSTRAINT `attachments_records_record` FOREIGN KEY (`record_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);
-- create index "attachment_record_id_sha256" to table: "attachments"
CREATE UNIQUE INDEX `attachment_record_id_sha256` ON `attachments` (`record_id`, `sha256`);
-- create index "attachment_sha256" to table: "attachments"
CREATE INDEX `attachment_sha256` ON `attachments` (`sha256`);
-- create "batches" table
CREATE TABLE `batches` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `number` text NOT NULL, `kind` integer NOT NULL, `product` text NOT NULL, `expire_date` text NOT NULL, `min_c` real NULL, `max_c` real NULL);
-- create index "batches_number_key" to table: "batches"
CREATE UNIQUE INDEX `batches_number_key` ON `batches` (`number`);
-- create "blobs" table
CREATE TABLE `blobs` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `sha256` blob NOT NULL, `part` integer NOT NULL, `content` blob NOT NULL);
-- create index "blob_key" to table: "blobs"
CREATE UNIQUE INDEX `blob_key` ON `blobs` (`sha256`, `part`);
-- create "corrections" table
CREATE TABLE `corrections` (`id` integer NOT NULL, `reason` text NOT NULL, `corrected_id` integer NOT NULL, `replacement_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `corrections_records_corrected` FOREIGN KEY (`corrected_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT, CONSTRAINT `corrections_records_replacement` FOREIGN KEY (`replacement_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);
-- create index "correction_corrected_id" to table: "corrections"
CREATE UNIQUE INDEX `correction_corrected_id` ON `corrections` (`corrected_id`);
-- create index "correction_replacement_id" to table: "corrections"
CREATE UNIQUE INDEX `correction_replacement_id` ON `corrections` (`replacement_id`);
-- create "custodies" table
CREATE TABLE `custodies` (`id` integer NOT NULL, `kind` integer NOT NULL, `holder_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `custodies_people_holder` FOREIGN KEY (`holder_id`) REFERENCES `people` (`id`) ON DELETE RESTRICT);
-- create "dispositions" table
CREATE TABLE `dispositions` (`id` integer NOT NULL, `decision` integer NOT NULL, `reason` text NOT NULL, `incident_id` integer NOT NULL, PRIMARY KEY (`id`), CONSTRAINT `dispositions_records_incident` FOREIGN KEY (`incident_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);
-- create index "disposition_incident_id" to table: "dispositions"
CREATE INDEX `disposition_incident_id` ON `dispositions` (`incident_id`);
-- create "findings" table
CREATE TABLE `findings` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `rule` text NOT NULL, `severity` integer NOT NULL, `message` text NOT NULL, `figure` real NULL, `limit_value` real NULL, `unit` text NOT NULL, `source` text NOT NULL, `record_id` integer NOT NULL, CONSTRAINT `findings_records_record` FOREIGN KEY (`record_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);
-- create index "finding_record_id" to table: "findings"
CREATE INDEX `finding_record_id` ON `findings` (`record_id`);
-- create "holds" table
CREATE TABLE `holds` (`id` integer NOT NULL, `action` integer NOT NULL, `reason` text NOT NULL, `rule` text NOT NULL, `decision` integer NOT NULL, `cell_id` integer NULL, `joint_id` integer NULL, `lot_id` integer NULL, `tool_id` integer NULL, `cause_id` integer NULL, `released_hold_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `holds_cells_cell` FOREIGN KEY (`cell_id`) REFERENCES `cells` (`id`) ON DELETE RESTRICT, CONSTRAINT `holds_joints_joint` FOREIGN KEY (`joint_id`) REFERENCES `joints` (`id`) ON DELETE RESTRICT, CONSTRAINT `holds_lots_lot` FOREIGN KEY (`lot_id`) REFERENCES `lots` (`id`) ON DELETE RESTRICT, CONSTRAINT `holds_tools_tool` FOREIGN KEY (`tool_id`) REFERENCES `tools` (`id`) ON DELETE RESTRICT, CONSTRAINT `holds_records_cause` FOREIGN KEY (`cause_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT, CONSTRAINT `holds_records_released_hold` FOREIGN KEY (`released_hold_id`) REFERENCES `records` (`id`) ON DELETE RESTRICT);
-- create index "hold_cell_id" to table: "holds"
CREATE INDEX `hold_cell_id` ON `holds` (`cell_id`);
-- create index "hold_joint_id" to table: "holds"
CREATE INDEX `hold_joint_id` ON `holds` (`joint_id`);
-- create index "hold_lot_id" to table: "holds"
CREATE INDEX `hold_lot_id` ON `holds` (`lot_id`);
-- create index "hold_tool_id" to table: "holds"
CREATE INDEX `hold_tool_id` ON `holds` (`tool_id`);
-- create index "hold_released_hold_id" to table: "holds"
CREATE UNIQUE INDEX `hold_released_hold_id` ON `holds` (`released_hold_id`);
-- create "inspections" table
CREATE TABLE `inspections` (`id` integer NOT NULL, `kind` integer NOT NULL, `sample` integer NOT NULL, `plan` text NOT NULL, `readings_nm` json NOT NULL, `result` integer NOT NULL, PRIMARY KEY (`id`));
-- create "lot_sums" table
CREATE TABLE `lot_sums` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `lot_id` integer NOT NULL, `site_id` integer NOT NULL, `received` integer NOT NULL, `removed` integer NOT NULL, `used` integer NOT NULL, `on_hand` integer NOT NULL, `count_time` integer NOT NULL);
-- create index "lot_sum_key" to table: "lot_sums"
CREATE UNIQUE INDEX `lot_sum_key` ON `lot_sums` (`lot_id`, `site_id`);
-- create "sealings" table
CREATE TABLE `sealings` (`id` integer NOT NULL, `sealant` text NOT NULL, `batch` text NOT NULL, `width_mm` real NOT NULL, `solvent` text NOT NULL, `clean_time` integer NULL, `air_c` real NULL, `surface_c` real NULL, `humidity_pct` real NULL, `splice` integer NOT NULL, `flange_straight` bool NULL, `specification_revision_id` integer NOT NULL, PRIMARY KEY (`id`), CONSTRAINT `sealings_specification_revisions_specification_revision` FOREIGN KEY (`specification_revision_id`) REFERENCES `specification_revisions` (`id`) ON DELETE RESTRICT);
-- create "sign_offs" table
CREATE TABLE `sign_offs` (`id` integer NOT NULL, `point` integer NOT NULL, `title` text NOT NULL, `tower_id` integer NULL, `cell_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `sign_offs_towers_tower` FOREIGN KEY (`tower_id`) REFERENCES `towers` (`id`) ON DELETE RESTRICT, CONSTRAINT `sign_offs_cells_cell` FOREIGN KEY (`cell_id`) REFERENCES `cells` (`id`) ON DELETE RESTRICT);
-- create index "signoff_cell_id" to table: "sign_offs"
CREATE INDEX `signoff_cell_id` ON `sign_offs` (`cell_id`);
-- create index "signoff_tower_id" to table: "sign_offs"
CREATE INDEX `signoff_tower_id` ON `sign_offs` (`tower_id`);
-- create "substitutions" table
CREATE TABLE `substitutions` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `code` text NOT NULL, `needs` text NOT NULL, `torque_nm` real NOT NULL, `approved_by` text NOT NULL, `thread` text NOT NULL, `length_mm` real NOT NULL, `material` integer NOT NULL, `property_class` text NOT NULL, `coating` text NOT NULL, `head` text NOT NULL, `specification_id` integer NOT NULL, CONSTRAINT `substitutions_specifications_specification` FOREIGN KEY (`specification_id`) REFERENCES `specifications` (`id`) ON DELETE RESTRICT);
-- create index "substitutions_code_key" to table: "substitutions"
CREATE UNIQUE INDEX `substitutions_code_key` ON `substitutions` (`code`);
-- create "tool_uses" table
CREATE TABLE `tool_uses` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `tool_id` integer NOT NULL, `hour` integer NOT NULL, `fasteners` integer NOT NULL, `last_time` integer NOT NULL);
-- create index "tool_use_key" to table: "tool_uses"
CREATE UNIQUE INDEX `tool_use_key` ON `tool_uses` (`tool_id`, `hour`);
-- the sums of what was recorded before this version
INSERT INTO `tool_uses` (`tool_id`, `hour`, `fasteners`, `last_time`) SELECT r.`tool_id`, r.`occur_time` / 3600000000, SUM(x.`fasteners`), MAX(r.`occur_time`) FROM `tightenings` x JOIN `records` r ON r.`id` = x.`id` WHERE r.`tool_id` IS NOT NULL GROUP BY 1, 2;
INSERT INTO `lot_sums` (`lot_id`, `site_id`, `received`, `removed`, `used`, `on_hand`, `count_time`) SELECT `lot_id`, `site_id`, 0, 0, 0, 0, 0 FROM `records` WHERE `lot_id` IS NOT NULL AND `kind` IN (1, 2, 4) GROUP BY 1, 2;
UPDATE `lot_sums` SET `count_time` = COALESCE((SELECT MAX(r.`occur_time`) FROM `records` r JOIN `lot_movements` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` = 5), 0);
UPDATE `lot_sums` SET `received` = COALESCE((SELECT SUM(x.`quantity`) FROM `records` r JOIN `lot_movements` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` = 1), 0), `removed` = COALESCE((SELECT SUM(x.`quantity`) FROM `records` r JOIN `lot_movements` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` IN (2, 3, 4)), 0), `used` = COALESCE((SELECT SUM(x.`fasteners`) FROM `records` r JOIN `tightenings` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`pass` = 1), 0) + COALESCE((SELECT SUM(x.`fasteners`) FROM `records` r JOIN `incidents` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` <= 6), 0);
UPDATE `lot_sums` SET `on_hand` = COALESCE((SELECT x.`quantity` FROM `records` r JOIN `lot_movements` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` = 5 ORDER BY r.`occur_time` DESC, r.`id` DESC LIMIT 1), 0) + COALESCE((SELECT SUM(CASE WHEN x.`kind` = 1 THEN x.`quantity` ELSE -x.`quantity` END) FROM `records` r JOIN `lot_movements` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` <> 5 AND (r.`occur_time` > `lot_sums`.`count_time` OR `lot_sums`.`count_time` = 0)), 0) - COALESCE((SELECT SUM(x.`fasteners`) FROM `records` r JOIN `tightenings` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`pass` = 1 AND (r.`occur_time` > `lot_sums`.`count_time` OR `lot_sums`.`count_time` = 0)), 0) - COALESCE((SELECT SUM(x.`fasteners`) FROM `records` r JOIN `incidents` x ON x.`id` = r.`id` WHERE r.`lot_id` = `lot_sums`.`lot_id` AND r.`site_id` = `lot_sums`.`site_id` AND x.`kind` <= 6 AND (r.`occur_time` > `lot_sums`.`count_time` OR `lot_sums`.`count_time` = 0)), 0);
