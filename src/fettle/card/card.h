// The card room: lays a release on a card as one image computed beforehand, and audits any card as a box would see it.
//
//   block_device.h   where bytes stand: image file, block device, memory
//   geometry.h       partition and FAT figures for a card of a given size
//   lay.h            a release becomes an image, written once and read back
//   reader.h         a bounded reader of FAT12, FAT16 and FAT32
//   audit.h          every finding about a card in one pass
//
//   devices.h        which block devices may be a card; lay_device.h: laying to one
//   gauge.h          is the capacity real?
//
// What this room never does: it never mounts anything, never writes during an audit, never calls a card laid before
// every byte was read back, and never writes to a device that was not agreed to by its serial.
#pragma once

#include "fettle/card/audit.h"
#include "fettle/card/block_device.h"
#include "fettle/card/geometry.h"
#include "fettle/card/lay.h"
#include "fettle/card/reader.h"
