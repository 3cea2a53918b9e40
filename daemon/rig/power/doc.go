// Package power cuts the power under the working daemon and looks at what is left.
//
//	daemon (clock of its own, real ledger, store, trace) --> ext4 --> loop device --> card
//	card: what is durable | what was written since the last flush, in order
//	cut:  durable + some of the rest (whole blocks, torn blocks, or an order prefix) = an image
//	judge: image --> mount (ext4 recovers) --> daemon starts on it --> Verdict
//
// The card is a file system in user space (fuse(4)) with one file; the loop device on
// it turns a device flush into an fsync of that file, so the card sees every write and
// every flush that the kernel sends to a disk, in order. A card may lie: a flush that it
// acknowledges takes effect only so many flushes later.
//
// The room's controllers keep their power: what they were told, and for how long they
// held each output open, is written beside the card before the daemon goes on. An image
// must account for all of it that was there at the last flush which the card kept.
//
// What is not covered: a card that loses or damages what it had kept for long, a write
// torn inside a sector of 512 bytes, other file systems than ext4, and the writes that
// a kernel older or newer than the one at hand would send.
package power
