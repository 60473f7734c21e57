-- create "register_epoch" table
CREATE TABLE `register_epoch` (`id` integer NOT NULL, `epoch` integer NOT NULL, PRIMARY KEY (`id`));
-- the one row there is
INSERT INTO register_epoch (id, epoch) VALUES (1, 0);
