package sqlite

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"

	"hatchwright/store"
)

// ownerOnly is the mode of every file of a store: what stands in it is for whoever runs
// the service. SQLite gives the log and its index the mode of the file itself.
const ownerOnly = 0o600

// others are the bits of a mode that let anybody else in.
const others = 0o077

// Beside the file itself there are its log and the log's index while it is open, and an
// empty file that is there for its lock.
const (
	logSuffix   = "-wal"
	indexSuffix = "-shm"
	openSuffix  = ".open"
)

// makeFiles makes the files that are made by name, with their mode from the beginning,
// and takes from those that are there what lets others read them. notes say which.
func makeFiles(path string) (notes []string, err error) {
	for _, suffix := range []string{"", openSuffix} {
		// Never by opening what is there: closing it would let go of the locks that
		// this process has on it (sqlite.org/howtocorrupt.html, 2.2).
		f, err := os.OpenFile(path+suffix, os.O_RDWR|os.O_CREATE|os.O_EXCL, ownerOnly)
		if err == nil {
			err = f.Close()
		}
		if err != nil && !errors.Is(err, fs.ErrExist) {
			return notes, fmt.Errorf("%w: %w", store.ErrUnavailable, err)
		}
	}
	if runtime.GOOS == "windows" {
		return nil, nil // files have no such modes there
	}
	for _, suffix := range []string{"", logSuffix, indexSuffix, openSuffix} {
		file := path + suffix
		info, err := os.Stat(file)
		if err != nil || !info.Mode().IsRegular() || info.Mode().Perm()&others == 0 {
			continue
		}
		if err := os.Chmod(file, info.Mode().Perm()&^others); err != nil {
			notes = append(notes, fmt.Sprintf("%s has the mode %#o, so that others can get at it, and it could not be narrowed: %v", file, info.Mode().Perm(), err))
			continue
		}
		notes = append(notes, fmt.Sprintf("%s had the mode %#o; others can no longer get at it", file, info.Mode().Perm()))
	}
	return notes, nil
}
