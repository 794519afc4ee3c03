// What the letters and digits of a trouble code say by themselves: SAE J2012 / ISO 15031-6 for the letter form, the
// failure types that SAE J2012-DA publishes.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "fettle/prove/faults.h"

namespace fettle::prove {
namespace {

struct Type {
    std::string_view code, words;
};
constexpr Type types[] = {
    {"00", "no further subtype"},
    {"01", "general electrical failure"},
    {"02", "general signal failure"},
    {"03", "FM or PWM failure"},
    {"04", "system internal failure"},
    {"05", "system programming failure"},
    {"06", "algorithm based failure"},
    {"07", "mechanical failure"},
    {"08", "bus signal or message failure"},
    {"09", "component failure"},
    {"11", "circuit short to ground"},
    {"12", "circuit short to battery"},
    {"13", "circuit open"},
    {"14", "circuit short to ground or open"},
    {"15", "circuit short to battery or open"},
    {"16", "circuit voltage below threshold"},
    {"17", "circuit voltage above threshold"},
    {"18", "circuit current below threshold"},
    {"19", "circuit current above threshold"},
    {"1A", "circuit resistance below threshold"},
    {"1B", "circuit resistance above threshold"},
    {"1C", "circuit voltage out of range"},
    {"1D", "circuit current out of range"},
    {"1E", "circuit resistance out of range"},
    {"1F", "circuit intermittent"},
    {"21", "signal amplitude below minimum"},
    {"22", "signal amplitude above maximum"},
    {"23", "signal stuck low"},
    {"24", "signal stuck high"},
    {"25", "signal shape or waveform failure"},
    {"26", "signal rate of change below threshold"},
    {"27", "signal rate of change above threshold"},
    {"28", "signal bias level out of range"},
    {"29", "signal invalid"},
    {"2A", "signal stuck in range"},
    {"2B", "signal cross coupled"},
    {"2F", "signal erratic"},
    {"31", "no signal"},
    {"32", "signal low time below minimum"},
    {"33", "signal low time above maximum"},
    {"34", "signal high time below minimum"},
    {"35", "signal high time above maximum"},
    {"36", "signal frequency too low"},
    {"37", "signal frequency too high"},
    {"38", "signal frequency incorrect"},
    {"39", "too few pulses"},
    {"3A", "too many pulses"},
    {"41", "general checksum failure"},
    {"42", "general memory failure"},
    {"43", "special memory failure"},
    {"44", "data memory failure"},
    {"45", "program memory failure"},
    {"46", "calibration or parameter memory failure"},
    {"47", "watchdog or safety controller failure"},
    {"48", "supervision software failure"},
    {"49", "internal electronic failure"},
    {"4A", "incorrect component installed"},
    {"4B", "over temperature"},
    {"51", "not programmed"},
    {"52", "not activated"},
    {"53", "deactivated"},
    {"54", "missing calibration"},
    {"55", "not configured"},
    {"61", "signal calculation failure"},
    {"62", "signal compare failure"},
    {"63", "circuit or component protection time-out"},
    {"64", "signal plausibility failure"},
    {"65", "too few transitions or events"},
    {"66", "too many transitions or events"},
    {"67", "signal incorrect after event"},
    {"71", "actuator stuck"},
    {"72", "actuator stuck open"},
    {"73", "actuator stuck closed"},
    {"74", "actuator slipping"},
    {"75", "emergency position not reachable"},
    {"76", "wrong mounting position"},
    {"77", "commanded position not reachable"},
    {"78", "alignment or adjustment incorrect"},
    {"79", "mechanical linkage failure"},
    {"7A", "fluid leak or seal failure"},
    {"7B", "low fluid level"},
    {"81", "invalid serial data received"},
    {"82", "alive or sequence counter incorrect"},
    {"83", "signal protection value incorrect"},
    {"84", "signal below allowable range"},
    {"85", "signal above allowable range"},
    {"86", "signal invalid (bus)"},
    {"87", "missing message"},
    {"88", "bus off"},
    {"8F", "erratic (bus)"},
    {"91", "parametric"},
    {"92", "performance or incorrect operation"},
    {"93", "no operation"},
    {"94", "unexpected operation"},
    {"95", "incorrect assembly"},
    {"96", "component internal failure"},
    {"97", "operation obstructed or blocked"},
    {"98", "component or system over temperature"},
};

std::string_view system_of(char letter) {
    switch (letter) {
        case 'P': return "powertrain";
        case 'C': return "chassis";
        case 'B': return "body";
        default: return "network";
    }
}

// First digit: 0 (with P also 2) is set by the standard, 1 by the maker; of the others the standard leaves parts to
// either.
std::string_view whose(char letter, char digit) {
    if (digit == '0' || (letter == 'P' && digit == '2')) return "code of the standard";
    if (digit == '1') return "code of the maker";
    return "code";
}

// Groups of the standard's own codes: SAE J2012, titles from memory (tests/data/reference/dtc-groups.csv). Codes of
// makers have no groups that anybody else could know.
struct Group {
    std::string_view begins, words;
};
constexpr Group groups[] = {
    {"P00", "fuel and air metering and emissions"},
    {"P01", "fuel and air metering"},
    {"P02", "fuel and air metering"},
    {"P03", "ignition or misfire"},
    {"P04", "auxiliary emission controls"},
    {"P05", "speed and idle and auxiliary inputs"},
    {"P06", "computer and auxiliary outputs"},
    {"P07", "transmission"},
    {"P08", "transmission"},
    {"P09", "transmission"},
    {"P0A", "hybrid propulsion"},
    {"U00", "network electrical"},
    {"U01", "lost communication"},
    {"U02", "lost communication"},
    {"U03", "software not compatible"},
    {"U04", "invalid data received"},
    {"U05", "invalid data received"},
    {"U30", "control module: supply or software or inputs"},
};
std::string_view group_of(std::string_view code) {
    const auto g =
        std::find_if(std::begin(groups), std::end(groups), [&](const Group& x) { return code.starts_with(x.begins); });
    return g == std::end(groups) ? std::string_view() : g->words;
}

bool one_of(std::string_view type, std::initializer_list<std::string_view> list) {
    return std::find(list.begin(), list.end(), type) != list.end();
}

}  // namespace

bool lost_communication(std::string_view code) {
    if (group_of(code) != "lost communication") return false;
    // Without a failure type, "no further subtype", "no signal", "missing message" (SAE J2012-DA).
    return code.size() < 8 || one_of(code.substr(6), {"00", "31", "87"});
}

bool software_or_voltage(std::string_view code) {
    if (code.starts_with("U03") || code.starts_with("U30")) return true;
    // SAE J2012-DA: programming, program and calibration memory, supervision software, not programmed, missing
    // calibration, not configured; voltage below, above, out of range.
    return code.size() == 8 && one_of(code.substr(6), {"05", "45", "46", "48", "51", "54", "55", "16", "17", "1C"});
}

std::optional<std::string_view> failure_type_words(std::string_view two) {
    const auto t = std::find_if(std::begin(types), std::end(types), [&](const Type& x) { return x.code == two; });
    return t == std::end(types) ? std::nullopt : std::optional(t->words);
}

std::string code_words(std::string_view code) {
    if (!is_fault_code(code)) return {};
    std::string out = fmt::format("{} {}", system_of(code[0]), whose(code[0], code[1]));
    if (const auto group = group_of(code); !group.empty()) out += fmt::format(" ({})", group);
    if (code.size() < 8) return out;
    const auto type = failure_type_words(code.substr(6));
    return out + "; " +
           (type ? std::string(*type) : fmt::format("failure type {}, not one of the published ones", code.substr(6)));
}

}  // namespace fettle::prove
