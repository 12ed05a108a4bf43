//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"time"

	"hatchwright/store"
)

// lockLook is how often a migration looks whether another process's is over.
const lockLook = 20 * time.Millisecond

// lockMigrations keeps other processes from migrating at the same time, by the lock of
// a file beside the store's, which is removed with the lock held. Whoever gets the lock
// of a file that was removed meanwhile begins anew, so that all hold the same one. The
// lock ends with the process at the latest; a file that one left behind is taken over.
func (s *Store) lockMigrations(ctx context.Context) (unlock func() error, err error) {
	path := s.path + lockSuffix
	late := time.After(migrationWait)
	for {
		f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
		if err != nil {
			return nil, err
		}
		switch err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); {
		case err == nil && same(f, path):
			return func() error {
				err := os.Remove(path)
				if errors.Is(err, fs.ErrNotExist) {
					err = nil
				}
				return errors.Join(err, f.Close())
			}, nil
		case err != nil && !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, syscall.EINTR):
			return nil, errors.Join(fmt.Errorf("lock %s: %w", path, err), f.Close())
		}
		_ = f.Close()
		select {
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-late:
			return nil, fmt.Errorf("%w: another process holds %s for longer than %v", store.ErrUnavailable, path, migrationWait)
		case <-time.After(lockLook):
		}
	}
}

// same tells whether the open file is the one at the path.
func same(f *os.File, path string) bool {
	held, err := f.Stat()
	if err != nil {
		return false
	}
	there, err := os.Stat(path)
	return err == nil && os.SameFile(held, there)
}
