package service

import (
	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
)

const (
	defaultPageSize = 100
	maxPageSize     = 1000
)

// listRequest is what every list method's request has (AIP-158).
type listRequest interface {
	proto.Message
	GetPageSize() int32
	GetPageToken() string
}

// listPage answers one page of a list. problems are those of the request's
// filters; load reads the page from the store.
func listPage[T, M any](req listRequest, p problems, load func(store.Page) ([]T, string, error), to func(T) M) ([]M, string, error) {
	size := int(req.GetPageSize())
	if size < 0 {
		p.Add("page_size", "%d is below 0; expected 0, for %d, to %d", size, defaultPageSize, maxPageSize)
	}
	if err := ledger.Invalid("request", p); err != nil {
		return nil, "", err
	}
	if size == 0 {
		size = defaultPageSize
	}
	after, err := rpc.PageAfter(req, req.GetPageToken())
	if err != nil {
		return nil, "", err
	}
	items, next, err := load(store.Page{Size: min(size, maxPageSize), After: after})
	if err != nil {
		return nil, "", err
	}
	out := make([]M, len(items))
	for i, item := range items {
		out[i] = to(item)
	}
	return out, rpc.PageToken(req, next), nil
}
