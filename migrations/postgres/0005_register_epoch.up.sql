-- create "register_epoch" table
CREATE TABLE "register_epoch" ("id" bigint NOT NULL, "epoch" bigint NOT NULL, PRIMARY KEY ("id"));
-- the one row there is
INSERT INTO register_epoch (id, epoch) VALUES (1, 0);
