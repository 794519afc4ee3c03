// Laying to a real card: opened only if it is still the device that was agreed to, its old marks taken away first, then
// laid as an image is (lay.h), sector 0 last.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/card/block_device.h"
#include "fettle/card/devices.h"
#include "fettle/card/lay.h"

namespace fettle::card {

// Opens a device that somebody agreed to have erased, for this process alone (O_EXCL, and locked so that the system's
// device manager leaves it alone), and looks at it once more through the open descriptor: `look` reads the system
// again, and number, bus, serial, model, size and disk sequence must be those of `agreed`, and nothing may speak
// against it (may_be_erased). Outside errors: `device-busy`, `device-changed`, `device-gone`, `device-not-permitted`;
// any halt reason of may_be_erased by its own code (bad_input).
Result<std::unique_ptr<BlockDevice>> open_to_erase(const FoundDevice& agreed, const family::CardRule* rule,
                                                   const std::function<Result<SystemView>()>& look);

// The first thing that speaks against it as an error of that code; ok when nothing does.
Status refuse_unless_erasable(const FoundDevice& device, const family::CardRule* rule);

// Zeroes and syncs what would let the card be taken for what it was: sector 0 and a GPT at both ends, and the first and
// the last sectors of every partition and of the whole card, where file systems have their boot sectors and backups.
// Ranges that lie outside the device are passed over.
Status erase_old_marks(BlockDevice& device);

// erase_old_marks, then lay() with the geometry for the whole device. After any error, kill or pull once the first
// write was done, the card has no partition table: it is never taken for a good one.
Result<Laid> lay_device(const std::vector<SourceFile>& files, const family::CardRule& rule,
                        std::string_view release_sha256, BlockDevice& target, const Progress& progress = {},
                        unsigned card_number = 1);

// What stands on a card, in words for somebody who is about to lose it: one line for the table, one for each partition
// ("FAT32 'OWNER MAP', 312 files, 4.1 GiB: Maps, Music, and 3 more"). Reads only; never empty.
std::vector<std::string> what_is_on(BlockDevice& device);

}  // namespace fettle::card
