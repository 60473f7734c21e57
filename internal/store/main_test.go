package store_test

import (
	"testing"

	"jointledger/internal/store/storetest"
)

func TestMain(m *testing.M) {
	if openInstead() || backUpInstead() || moveInstead() {
		return
	}
	fewChecks()
	storetest.Main(m)
}
