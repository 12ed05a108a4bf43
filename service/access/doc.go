// Package access lets callers in: it finds the key, or the person of an identity provider,
// that a bearer text stands for, notes the use of keys, makes keys, and keeps the shop from
// locking itself out.
//
// It takes of the store the keys alone, and of the service its clock and its log. Of a
// key's text it keeps nothing but the hash. Errors are *fault.Error, or the store's own.
package access
