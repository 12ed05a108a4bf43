package service

import "hatchwright/store"

// every reads all pages of a list.
func every[T any](list func(store.Page) (store.Listing[T], error)) (all []T, err error) {
	page := store.Page{Limit: store.MaxLimit}
	for {
		l, err := list(page)
		if err != nil {
			return nil, err
		}
		all = append(all, l.Items...)
		if page.Cursor = l.NextCursor; page.Cursor == "" {
			return all, nil
		}
	}
}
