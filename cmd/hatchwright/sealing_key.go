package main

import (
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"hatchwright/service"
)

// sealingKeySuffix names the file with the key that seals signing secrets of webhooks,
// beside the embedded store.
const sealingKeySuffix = ".key"

// ownerOnly is the mode of a file with a secret; others are the bits that let anybody
// else read it.
const (
	ownerOnly = 0o600
	others    = 0o077
)

// withKeyFile adds the key of the embedded store's key file to those that are
// configured: the file is made where there is neither. One that is there opens what was
// sealed with it, also once other keys are configured.
func withKeyFile(o service.WebhookOptions, c Config, log *slog.Logger) (service.WebhookOptions, error) {
	if c.DatabaseURL != "" {
		return o, nil
	}
	path := c.DataFile + sealingKeySuffix
	key, err := readSealingKey(path, log)
	if errors.Is(err, fs.ErrNotExist) {
		if len(o.Keys) > 0 {
			return o, nil
		}
		if err = makeSealingKey(path); err == nil {
			log.Info("made the key that seals signing secrets of webhooks; a backup of the store needs it too, kept apart", "file", path)
		}
		if err == nil || errors.Is(err, fs.ErrExist) {
			key, err = readSealingKey(path, log)
		}
	}
	if err != nil {
		return o, fmt.Errorf("key that seals signing secrets of webhooks: %w", err)
	}
	o.Keys = append(o.Keys, key)
	return o, nil
}

func readSealingKey(path string, log *slog.Logger) ([]byte, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(path); err == nil && info.Mode().Perm()&others != 0 && runtime.GOOS != "windows" {
		was := info.Mode().Perm()
		log.Warn("others could read the key that seals signing secrets of webhooks; the file is narrowed", "file", path, "mode", fmt.Sprintf("%#o", was), "error", os.Chmod(path, was&^others))
	}
	key, err := base64.StdEncoding.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(key) != webhookKeyBytes {
		return nil, fmt.Errorf("%s is not %d bytes in base64: put the file back as it was made; only if it is lost for good, remove it and give every webhook another secret", path, webhookKeyBytes)
	}
	return key, nil
}

// makeSealingKey makes the file whole or not at all: of several processes that start at
// once the first one's stands, and the others get fs.ErrExist.
func makeSealingKey(path string) error {
	key := make([]byte, webhookKeyBytes)
	if _, err := rand.Read(key); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".*") // made with the mode 0600
	if err != nil {
		return err
	}
	_, err = f.WriteString(base64.StdEncoding.EncodeToString(key) + "\n")
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Link(f.Name(), path)
	}
	return errors.Join(err, os.Remove(f.Name()))
}

// tellOfSecrets says how signing secrets stand in the store, where that is not well.
func tellOfSecrets(c Config, hooks service.WebhookOptions, at service.SecretsAtRest, log *slog.Logger) {
	if at.Sealed > 0 {
		log.Info("sealed signing secrets of webhooks that stood in the clear", "secrets", at.Sealed)
	}
	if len(hooks.Keys) == 0 {
		log.Warn("HATCHWRIGHT_WEBHOOK_KEYS is not set: signing secrets of webhooks stand in the clear in the database and in every backup of it. Set it to a key made with openssl rand -base64 32: those that are there are sealed at the next start", "secrets", at.Clear)
	}
	if at.Shut > 0 {
		where := "HATCHWRIGHT_WEBHOOK_KEYS"
		if c.DatabaseURL == "" {
			where = c.DataFile + sealingKeySuffix + " or HATCHWRIGHT_WEBHOOK_KEYS"
		}
		log.Error("no key at hand opens some signing secrets of webhooks, and nothing is sent to their endpoints: put the key that sealed them back, or give the endpoints other secrets", "secrets", at.Shut, "keys", where)
	}
}
