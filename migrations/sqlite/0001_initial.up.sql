-- create "calibrations" table
CREATE TABLE `calibrations` (`id` integer NOT NULL, `laboratory` text NOT NULL, `certificate` text NOT NULL, `points` json NOT NULL, PRIMARY KEY (`id`));
-- create "cells" table
CREATE TABLE `cells` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `tag` text NOT NULL, `description` text NOT NULL, `tower_id` integer NOT NULL, CONSTRAINT `cells_towers_tower` FOREIGN KEY (`tower_id`) REFERENCES `towers` (`id`) ON DELETE RESTRICT);
-- create index "cell_tower_id_tag" to table: "cells"
CREATE UNIQUE INDEX `cell_tower_id_tag` ON `cells` (`tower_id`, `tag`);
-- create "chains" table
CREATE TABLE `chains` (`id` integer NOT NULL, `sequence` integer NOT NULL, `link` blob NOT NULL, PRIMARY KEY (`id`));
-- create "incidents" table
CREATE TABLE `incidents` (`id` integer NOT NULL, `kind` integer NOT NULL, `fasteners` integer NOT NULL, `treatment` integer NOT NULL, `method` integer NOT NULL, `noticed` text NOT NULL, `action` text NOT NULL, `specification_revision_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `incidents_specification_revisions_specification_revision` FOREIGN KEY (`specification_revision_id`) REFERENCES `specification_revisions` (`id`) ON DELETE RESTRICT);
-- create "joints" table
CREATE TABLE `joints` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `tag` text NOT NULL, `kind` integer NOT NULL, `critical` bool NOT NULL, `part_a` text NOT NULL, `part_b` text NOT NULL, `fasteners` integer NOT NULL, `cell_id` integer NOT NULL, `specification_id` integer NOT NULL, CONSTRAINT `joints_cells_cell` FOREIGN KEY (`cell_id`) REFERENCES `cells` (`id`) ON DELETE RESTRICT, CONSTRAINT `joints_specifications_specification` FOREIGN KEY (`specification_id`) REFERENCES `specifications` (`id`) ON DELETE RESTRICT);
-- create index "joint_cell_id_tag" to table: "joints"
CREATE UNIQUE INDEX `joint_cell_id_tag` ON `joints` (`cell_id`, `tag`);
-- create "lots" table
CREATE TABLE `lots` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `number` text NOT NULL, `supplier` text NOT NULL, `heat` text NOT NULL, `description` text NOT NULL, `state` integer NOT NULL, `thread` text NOT NULL, `length_mm` real NOT NULL, `material` integer NOT NULL, `property_class` text NOT NULL, `coating` text NOT NULL, `head` text NOT NULL);
-- create index "lots_number_key" to table: "lots"
CREATE UNIQUE INDEX `lots_number_key` ON `lots` (`number`);
-- create "lot_movements" table
CREATE TABLE `lot_movements` (`id` integer NOT NULL, `kind` integer NOT NULL, `quantity` integer NOT NULL, `reference` text NOT NULL, `handled_by` text NOT NULL, PRIMARY KEY (`id`));
-- create "people" table
CREATE TABLE `people` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `code` text NOT NULL, `name` text NOT NULL, `employer` text NOT NULL, `roles` json NOT NULL, `qualifications` json NOT NULL, `home_site_id` integer NULL, CONSTRAINT `people_sites_home_site` FOREIGN KEY (`home_site_id`) REFERENCES `sites` (`id`) ON DELETE RESTRICT);
-- create index "people_code_key" to table: "people"
CREATE UNIQUE INDEX `people_code_key` ON `people` (`code`);
-- create "records" table
CREATE TABLE `records` (`id` integer NOT NULL, `uid` blob NOT NULL, `kind` integer NOT NULL, `occur_time` integer NOT NULL, `offset_minutes` integer NOT NULL, `local_day` integer NOT NULL, `receive_time` integer NOT NULL, `device` text NOT NULL, `note` text NOT NULL, `link` blob NOT NULL, `site_id` integer NOT NULL, `joint_id` integer NULL, `lot_id` integer NULL, `tool_id` integer NULL, `person_id` integer NULL, PRIMARY KEY (`id`), CONSTRAINT `records_sites_site` FOREIGN KEY (`site_id`) REFERENCES `sites` (`id`) ON DELETE RESTRICT, CONSTRAINT `records_joints_joint` FOREIGN KEY (`joint_id`) REFERENCES `joints` (`id`) ON DELETE RESTRICT, CONSTRAINT `records_lots_lot` FOREIGN KEY (`lot_id`) REFERENCES `lots` (`id`) ON DELETE RESTRICT, CONSTRAINT `records_tools_tool` FOREIGN KEY (`tool_id`) REFERENCES `tools` (`id`) ON DELETE RESTRICT, CONSTRAINT `records_people_person` FOREIGN KEY (`person_id`) REFERENCES `people` (`id`) ON DELETE RESTRICT);
-- create index "records_uid_key" to table: "records"
CREATE UNIQUE INDEX `records_uid_key` ON `records` (`uid`);
-- create index "record_joint_id" to table: "records"
CREATE INDEX `record_joint_id` ON `records` (`joint_id`);
-- create index "record_lot_id" to table: "records"
CREATE INDEX `record_lot_id` ON `records` (`lot_id`);
-- create index "record_tool_id_occur_time" to table: "records"
CREATE INDEX `record_tool_id_occur_time` ON `records` (`tool_id`, `occur_time`);
-- create "request_keys" table
CREATE TABLE `request_keys` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `request_id` text NOT NULL, `digest` blob NOT NULL, `create_time` integer NOT NULL);
-- create index "request_keys_request_id_key" to table: "request_keys"
CREATE UNIQUE INDEX `request_keys_request_id_key` ON `request_keys` (`request_id`);
-- create "sites" table
CREATE TABLE `sites` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `code` text NOT NULL, `name` text NOT NULL, `region` text NOT NULL, `time_zone` text NOT NULL, `status` integer NOT NULL, `units` integer NOT NULL);
-- create index "sites_code_key" to table: "sites"
CREATE UNIQUE INDEX `sites_code_key` ON `sites` (`code`);
-- create "specifications" table
CREATE TABLE `specifications` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `code` text NOT NULL);
-- create index "specifications_code_key" to table: "specifications"
CREATE UNIQUE INDEX `specifications_code_key` ON `specifications` (`code`);
-- create "specification_revisions" table
CREATE TABLE `specification_revisions` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `revision` integer NOT NULL, `create_time` integer NOT NULL, `treatment` integer NOT NULL, `locking` integer NOT NULL, `torque_nm` real NOT NULL, `torque_tolerance_pct` real NOT NULL, `torque_basis` integer NOT NULL, `nut_factor` real NOT NULL, `torque_tool_required` bool NOT NULL, `sealant` text NOT NULL, `seal_width_mm` real NOT NULL, `min_surface_c` real NULL, `thread` text NOT NULL, `length_mm` real NOT NULL, `material` integer NOT NULL, `property_class` text NOT NULL, `coating` text NOT NULL, `head` text NOT NULL, `specification_id` integer NOT NULL, CONSTRAINT `specification_revisions_specifications_specification` FOREIGN KEY (`specification_id`) REFERENCES `specifications` (`id`) ON DELETE RESTRICT);
-- create index "specificationrevision_specification_id_revision" to table: "specification_revisions"
CREATE UNIQUE INDEX `specificationrevision_specification_id_revision` ON `specification_revisions` (`specification_id`, `revision`);
-- create "tallies" table
CREATE TABLE `tallies` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `site_id` integer NOT NULL, `day` integer NOT NULL, `lot_id` integer NOT NULL, `specification_revision_id` integer NOT NULL, `treatment` integer NOT NULL, `method` integer NOT NULL, `outcome` integer NOT NULL, `fasteners` integer NOT NULL);
-- create index "tally_key" to table: "tallies"
CREATE UNIQUE INDEX `tally_key` ON `tallies` (`site_id`, `day`, `lot_id`, `specification_revision_id`, `treatment`, `method`, `outcome`);
-- create "tightenings" table
CREATE TABLE `tightenings` (`id` integer NOT NULL, `treatment` integer NOT NULL, `compound_batch` text NOT NULL, `torque_nm` real NULL, `torque_as_typed` text NOT NULL, `fasteners` integer NOT NULL, `pass` integer NOT NULL, `method` integer NOT NULL, `specification_revision_id` integer NOT NULL, PRIMARY KEY (`id`), CONSTRAINT `tightenings_specification_revisions_specification_revision` FOREIGN KEY (`specification_revision_id`) REFERENCES `specification_revisions` (`id`) ON DELETE RESTRICT);
-- create "tools" table
CREATE TABLE `tools` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `serial` text NOT NULL, `kind` integer NOT NULL, `type_class` text NOT NULL, `min_nm` real NOT NULL, `max_nm` real NOT NULL, `resolution_nm` real NOT NULL, `interval_months` integer NOT NULL, `interval_cycles` integer NOT NULL, `due_after_event` bool NOT NULL, `home_site_id` integer NOT NULL, CONSTRAINT `tools_sites_home_site` FOREIGN KEY (`home_site_id`) REFERENCES `sites` (`id`) ON DELETE RESTRICT);
-- create index "tools_serial_key" to table: "tools"
CREATE UNIQUE INDEX `tools_serial_key` ON `tools` (`serial`);
-- create "towers" table
CREATE TABLE `towers` (`id` integer NOT NULL PRIMARY KEY AUTOINCREMENT, `version` integer NOT NULL, `create_time` integer NOT NULL, `update_time` integer NOT NULL, `tag` text NOT NULL, `material` integer NOT NULL, `drawing` text NOT NULL, `planned_start` text NOT NULL, `planned_finish` text NOT NULL, `site_id` integer NOT NULL, CONSTRAINT `towers_sites_site` FOREIGN KEY (`site_id`) REFERENCES `sites` (`id`) ON DELETE RESTRICT);
-- create index "tower_site_id_tag" to table: "towers"
CREATE UNIQUE INDEX `tower_site_id_tag` ON `towers` (`site_id`, `tag`);
