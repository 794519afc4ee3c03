#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "fettle/base/text.h"
#include "fettle/prove/faults.h"

namespace fettle::prove {
namespace {

bool is_hex(char c) {
    return (c >= '0' && c <= '9') || (c >= 'A' && c <= 'F');
}

// "28" → 0x28, "0x28" too.
std::optional<std::uint8_t> status_of(std::string_view text) {
    if (text.starts_with("0x") || text.starts_with("0X")) text.remove_prefix(2);
    return text.size() > 2 ? std::nullopt : number_in<std::uint8_t>(text, 16);
}

}  // namespace

std::string_view status_bit_name(int bit) {
    static constexpr std::array<std::string_view, 8> names = {"testFailed",
                                                              "testFailedThisOperationCycle",
                                                              "pendingDTC",
                                                              "confirmedDTC",
                                                              "testNotCompletedSinceLastClear",
                                                              "testFailedSinceLastClear",
                                                              "testNotCompletedThisOperationCycle",
                                                              "warningIndicatorRequested"};
    return names.at(static_cast<std::size_t>(bit));
}

std::vector<std::string_view> status_bits(std::uint8_t status) {
    std::vector<std::string_view> out;
    for (int b = 0; b < 8; ++b) {
        if (status >> b & 1) out.push_back(status_bit_name(b));
    }
    return out;
}

bool failing_now(std::uint8_t status) {
    return status & 0x01;
}
bool confirmed(std::uint8_t status) {
    return status & 0x08;
}
bool not_tested_since_clear(std::uint8_t status) {
    return status & 0x10;
}
bool not_tested_this_cycle(std::uint8_t status) {
    return status & 0x40;
}
bool has_failed(std::uint8_t status) {
    return (status & 0xAF) != 0;
}

Retest retest_of(const Cleared& cleared, const FaultMemory& later) {
    if (!later.entries || !cleared.read_since) return Retest::cant_say;
    const std::string& box = cleared.fault.box;
    if (std::find(later.unread.begin(), later.unread.end(), box) != later.unread.end()) return Retest::cant_say;
    const auto bits = later.availability.find(box);
    const bool tells = bits != later.availability.end() && not_tested_since_clear(bits->second);
    const Fault* now = later.find(cleared.fault);
    if (now && !now->status) return Retest::cant_say;
    if (now && has_failed(*now->status)) {  // without an answer it may never have been cleared
        return cleared.answered || cleared.seen_waiting ? Retest::failed_again : Retest::cant_say;
    }
    if (now && not_tested_since_clear(*now->status)) return Retest::waits;
    if (!tells) return Retest::cant_say;
    if (cleared.seen_waiting) return Retest::passed;
    return now && cleared.answered && cleared.since_s >= least_wait_s ? Retest::passed : Retest::cant_say;
}

bool is_fault_code(std::string_view code) {
    if (code.size() != 5 && code.size() != 8) return false;
    if (std::string_view("PCBU").find(code[0]) == std::string_view::npos) return false;
    if (code[1] < '0' || code[1] > '3') return false;
    if (!std::all_of(code.begin() + 2, code.begin() + 5, is_hex)) return false;
    return code.size() == 5 || (code[5] == '-' && is_hex(code[6]) && is_hex(code[7]));
}

Result<std::vector<Fault>> parse_faults(std::string_view text) {
    std::vector<Fault> out;
    std::string flat(text);
    std::replace_if(
        flat.begin(), flat.end(), [](char c) { return c == ',' || c == '\n' || c == '\t' || c == '\r'; }, ' ');
    const auto wrong = [](const std::string& word, std::string problem) {
        return bad_input("fault-unreadable", printable(word), std::move(problem),
                         "type entries like B1A4F-13:28 (code, then status in hex), with the box before it if known: "
                         "display:B1A4F-13:28; or none, when the memory was read and is empty");
    };
    std::size_t words = 0;
    bool none = false;
    for (const std::string& word : split(flat, ' ')) {
        if (word.empty()) continue;
        ++words;
        if (word == "none") {
            none = true;
            continue;
        }
        std::vector<std::string> parts = split(word, ':');
        Fault f;
        if (parts.size() > 1 && !is_fault_code(parts[0])) {
            f.box = parts[0];
            parts.erase(parts.begin());
        }
        if (parts.empty() || parts.size() > 2 || !is_fault_code(parts[0]) || (words > 0 && f.box.size() > 40))
            return wrong(word,
                         "no fault code; expected a letter P, C, B or U, a digit 0 to 3 and three hex digits, "
                         "upper case, and perhaps a failure type");
        f.code = parts[0];
        if (parts.size() == 2) {
            f.status = status_of(parts[1]);
            if (!f.status) return wrong(word, "the status is no byte in hex");
        }
        for (const Fault& o : out) {
            if (o.box == f.box && o.code == f.code) return wrong(word, "named twice");
        }
        out.push_back(std::move(f));
    }
    if (words == 0) return wrong("", "nothing was typed");
    if (none && !out.empty()) return wrong("none", "none, and entries beside it");
    return out;
}

}  // namespace fettle::prove
