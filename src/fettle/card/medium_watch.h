// What a file's bytes say of the medium while they are digested: where the zeros at its end begin, and whether the
// card's own first sector stands in it, as on a card that begins again behind its real end.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "fettle/card/audit_parts.h"

namespace fettle::card {

struct MediumSeen {
    std::uint64_t bytes = 0;
    std::uint64_t zeros_from = 0;                  // behind its last byte that is not zero
    std::optional<std::uint64_t> first_sector_at;  // bytes from the file's start
};

class MediumWatch {
public:
    explicit MediumWatch(BlockDevice& device);
    void begin() { seen_ = {}; }
    void take(ByteView block);
    const MediumSeen& seen() const { return seen_; }

private:
    Bytes sector0_;  // empty: not readable, or with nothing in it to know it by
    MediumSeen seen_;
};

// One file that was digested, in the order of the card.
struct ReadOfMedium {
    const Wanted* wanted;
    MediumSeen seen;
};

// "zeros-from" and "begins-again": of files that are wrong alone, so that content that is meant to be so is not blamed.
void judge_medium(AuditState& s, const std::vector<ReadOfMedium>& read);

}  // namespace fettle::card
