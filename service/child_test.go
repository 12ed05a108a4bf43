package service_test

func workAsChild() bool { return false }
