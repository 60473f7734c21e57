// Command entgen generates the code of package ent from ent/schema:
//
//	cd ent && go run jointledger/internal/store/entgen
package main

import (
	"log"

	"entgo.io/ent/entc"
	"entgo.io/ent/entc/gen"
)

// It generates twice: the first time with the tables of ent/migrate, from which migrations
// are written; the second time the rest without them. A client that can migrate would take
// the machinery for it into trackerd, which never uses it and is larger in memory by it.
func main() {
	log.SetFlags(0)
	for _, migrates := range []bool{true, false} {
		if err := generate(migrates); err != nil {
			log.Fatal(err)
		}
	}
}

func generate(migrates bool) error {
	storage, err := gen.NewStorage("sql")
	if err != nil {
		return err
	}
	features := entc.FeatureNames("sql/versioned-migration", "sql/execquery", "sql/lock")
	if !migrates {
		storage.SchemaMode &^= gen.Migrate
		features = entc.FeatureNames("sql/execquery", "sql/lock")
	}
	return entc.Generate("./schema", &gen.Config{Storage: storage}, features)
}
