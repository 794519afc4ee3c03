// Fault entries before and after a run: what each status byte says (bits of ISO 14229-1, D.2), and what explains an
// entry. Computes on values; clears nothing and never advises clearing an entry that is failing now.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/family.h"

namespace fettle::prove {

// The eight bits, lowest first, as the standard names them: bit 0 testFailed … bit 7 warningIndicatorRequested.
std::string_view status_bit_name(int bit);
std::vector<std::string_view> status_bits(std::uint8_t status);
bool failing_now(std::uint8_t status);             // bit 0
bool confirmed(std::uint8_t status);               // bit 3
bool not_tested_since_clear(std::uint8_t status);  // bit 4

struct Fault {
    std::string box;   // role; empty when typed without it
    std::string code;  // "B1A4F-13"
    std::optional<std::uint8_t> status;

    bool operator==(const Fault&) const = default;
};

// nullopt list: the memory was not read. An empty list: it was read and holds none.
struct FaultMemory {
    std::optional<std::vector<Fault>> entries;
    std::string origin = "not read";  // "read", "typed", "not read"
};

// "B1A4F-13:28 display:U1402-00" (status in hex; box, failure type and status optional), separated by blanks or commas.
// bad_input names the word that is no code. An empty text is an error: "none" must be said as the word none.
Result<std::vector<Fault>> parse_faults(std::string_view text);

// Two-byte letter form and failure type: "B1A4F-13". False for anything else.
bool is_fault_code(std::string_view code);

struct Circumstances {
    std::vector<std::string> asks_skipped;  // act ids
    bool on_bench = true;
    std::optional<double> lowest_V;  // in the run's record
};

enum class Kind {
    there_before,  // the same entry stood there before, no worse
    explained,     // by a skipped ask, a missing partner or low supply, and not failing now
    active,        // failing now: find the cause, never clear
    partner,       // failing now because a partner is not on the bench: never clear here, read again in the vehicle
    new_unexplained,
    not_comparable,  // the memory before was not read
    gone,            // there before, no more
};
std::string_view words(Kind k);

struct Attributed {
    Fault fault;
    Kind kind = Kind::new_unexplained;
    std::string why;              // one sentence with what it rests on
    std::string next;             // one sentence
    bool may_be_cleared = false;  // by an authorised person, with the saved memory
    bool keeps_loose_end = true;  // stays on the list of loose ends
};

struct Faults {
    std::vector<Attributed> entries;
    Judgement judgement;
    std::string sentence;  // "fault memory not read after the run", "no entries (read)", …
};

Faults attribute(const family::Family& family, const FaultMemory& before, const FaultMemory& after,
                 const Circumstances& circumstances);

}  // namespace fettle::prove
