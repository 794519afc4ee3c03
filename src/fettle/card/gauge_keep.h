// What the gauge overwrites, saved on the host first and put back afterwards. For a card with a content that somebody
// wants back, at their own risk: when the card fails in between, what the gauge had touched is only on the host.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>

#include "fettle/card/gauge.h"

namespace fettle::card {

struct Saved {
    std::filesystem::path file;
    std::uint64_t bytes = 0;
    std::string sha256;
};

// Copies every touched stretch into a new file, in the order of touched(): complete and synced when this returns, or
// not there. outside `keep-not-saved` when the host has no room; device errors as they come.
Result<Saved> save_touched(const GaugePlan& plan, BlockDevice& device, const std::filesystem::path& file,
                           const GaugeProgress& progress = {});

struct Restored {
    std::uint64_t put_back = 0;  // stretches written
    std::uint64_t as_saved = 0;  // held their old content already
    std::uint64_t left = 0;      // hold something that is neither: somebody wrote there since; left alone
    std::uint64_t differ = 0;    // do not read back as saved after all
    bool cold = false;
    bool whole() const { return left == 0 && differ == 0; }
};
// Puts back in reverse order, syncs, and reads all of it back. Only stretches that hold marks of this session (in part
// or whole) are written; with `all`, every one that differs from what was saved. bad_input `keep-file-damaged` when the
// file is not what was saved: nothing is written then.
Result<Restored> restore_touched(const GaugePlan& plan, BlockDevice& device, const Saved& saved, bool all,
                                 const GaugeProgress& progress = {});

}  // namespace fettle::card
