// Fault entries before and after a run: what each status byte says (bits of ISO 14229-1, D.2), and what explains an
// entry. Computes on values; clears nothing and never advises clearing an entry that is failing now.
#pragma once

#include <cstdint>
#include <map>
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
bool not_tested_this_cycle(std::uint8_t status);   // bit 6
// Something has failed: any bit but the two "not completed" ones. 10, 40 and 50 only say that a test has not run, and a
// box that is asked with mask FF lists them too.
bool has_failed(std::uint8_t status);

struct Fault {
    std::string box;   // role; empty when typed without it
    std::string code;  // "B1A4F-13"
    std::optional<std::uint8_t> status;

    bool operator==(const Fault&) const = default;
};

// nullopt list: the memory was not read. An empty list: it was read and holds none.
struct FaultMemory {
    std::optional<std::vector<Fault>> entries;
    std::string origin = "not read";                     // "read", "read in part", "typed", "not read"
    std::vector<std::string> unread{};                   // boxes of the set that were not read, beside others that were
    std::map<std::string, std::uint8_t> availability{};  // box → status bits that it supports; only of what was read

    const Fault* find(const Fault& like) const;  // same code and box (a box that was not typed fits any); nullptr
    // The box has this bit of the status byte. False where it says otherwise; nothing known (typed): true.
    bool has_bit(const std::string& box, std::uint8_t bit) const;
};

// "B1A4F-13:28 display:U1402-00" (status in hex; box, failure type and status optional), separated by blanks or commas.
// bad_input names the word that is no code. An empty text is an error: "none" must be said as the word none.
Result<std::vector<Fault>> parse_faults(std::string_view text);

// Two-byte letter form and failure type: "B1A4F-13". False for anything else.
bool is_fault_code(std::string_view code);

// The words of a code: system by its letter, whose digit it is, and the failure type (SAE J2012-DA) where it is one of
// the published ones. "body code of the maker; circuit open". Empty for a text that is no code.
std::string code_words(std::string_view code);
// By the standard's groups and failure types alone: it says that a partner is not heard. Only such a code is excused by
// an absent partner when the family does not list it.
bool lost_communication(std::string_view code);
// It speaks of software or of voltage: no absent partner explains it, whoever says so.
bool software_or_voltage(std::string_view code);
std::optional<std::string_view> failure_type_words(std::string_view two_hex_digits);

// An entry that a box was asked to clear, and what is known of it since.
struct Cleared {
    Fault fault;
    bool answered = true;  // the box said yes; false: whether it did is not known
    bool seen_waiting =
        false;  // a reading in between has listed it with bit 4 set: this box lists what waits for its test
    bool read_since = true;  // false: the reading is older than the request
    double since_s = 0;      // from the request to the reading
};
// It, held against that reading.
enum class Retest {
    waits,         // bit 4 is set: its test has not run since
    passed,        // its test has run and did not fail
    failed_again,  // it stands there again
    cant_say,      // not read since, or what was read does not say whether its test has run
};
// Absence from the list says that a test has run only of an entry that this box has listed while it waited for it; a
// byte without bit 4 says so in a reading that is not of the same moment as the clearing (`least_wait_s`, ours).
inline constexpr double least_wait_s = 10;
Retest retest_of(const Cleared& cleared, const FaultMemory& later);

struct Circumstances {
    std::vector<std::string> asks_skipped;  // act ids
    bool on_bench = true;                   // where the memory was read: partners of the vehicle are absent
    std::optional<double> lowest_V;         // in the run's record
    std::vector<Cleared> cleared;           // entries that this job asked to be cleared since the run
    std::vector<Fault> missed_partner;      // entries that an absent partner explained on the bench
};

enum class Kind {
    there_before,  // the same entry stood there before, no worse
    explained,     // by a skipped ask, a missing partner or low supply, and not failing now
    active,        // failing now: find the cause, never clear
    partner,       // its partner is not on the bench: never clear here, read again in the vehicle
    partner_good,  // read again in the vehicle: tested there and not failing
    new_unexplained,
    not_comparable,   // the memory before was not read
    gone,             // there before, no more
    not_tested,       // the byte says only that its test has not run
    cleared_waits,    // cleared in this job, and not tested again yet
    cleared_good,     // cleared in this job, tested again and good
    cleared_unknown,  // cleared in this job, or asked to be; what came of it cannot be told
    back,             // cleared in this job, and there again
};
std::string_view words(Kind k);

struct Attributed {
    Fault fault;
    Kind kind = Kind::new_unexplained;
    std::string why;              // one sentence with what it rests on
    std::string next;             // one sentence
    bool may_be_cleared = false;  // by an authorised person, with the saved memory
};

struct Faults {
    std::vector<Attributed> entries;
    Judgement judgement;
    std::string sentence;  // "fault memory not read after the run", "no entries (read)", …
};

Faults attribute(const family::Family& family, const FaultMemory& before, const FaultMemory& after,
                 const Circumstances& circumstances);

}  // namespace fettle::prove
