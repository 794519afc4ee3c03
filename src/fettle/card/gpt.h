// Is a GUID Partition Table whole? UEFI Specification 2.10: section 5.3.2 "GPT Header" (fields, and the tests that make
// a table valid), 5.3.1 "GPT overview" (the backup stands in the last block). Reads at most 2 MiB.
#pragma once

#include <string>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/card/block_device.h"

namespace fettle::card {

struct GptState {
    std::vector<std::string> header;  // what is wrong with the header in sector 1 and its entries; empty: nothing
    std::vector<std::string> backup;  // likewise with the backup at the card's end
};

// Only reads. Outside errors where a sector cannot be read.
Result<GptState> check_gpt(BlockDevice& device);

}  // namespace fettle::card
