// An open descriptor as a BlockDevice; for the files of this room that open one.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "fettle/card/block_device.h"

namespace fettle::card {

struct Descriptor {
    int fd = -1;  // becomes the device's own
    std::string name;
    std::uint64_t size = 0;
    bool writable = false;
    bool is_device = false;  // a block device, not a file
    bool fresh = false;      // every byte never written reads as zero
};

std::unique_ptr<BlockDevice> device_on(const Descriptor& open);

}  // namespace fettle::card
