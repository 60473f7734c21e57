// Package outbox keeps the records that a device made until the server has answered
// for each of them: on the disk before anybody is told, in order, and each once.
package outbox
