#include "fettle/handover/words.h"

#include <fmt/format.h>

#include <algorithm>
#include <ctime>

#include "fettle/base/text.h"

namespace fettle::handover {

std::string time_words(UnixMs t) {
    const std::time_t s = static_cast<std::time_t>(t / 1000);
    std::tm local{};
    ::localtime_r(&s, &local);
    const long off = local.tm_gmtoff / 60;
    return fmt::format("{:04}-{:02}-{:02} {:02}:{:02} {}{:02}:{:02}", local.tm_year + 1900, local.tm_mon + 1,
                       local.tm_mday, local.tm_hour, local.tm_min, off < 0 ? '-' : '+', std::abs(off) / 60,
                       std::abs(off) % 60);
}

// The bits of ISO 14229-1 D.2 in plain words.
std::string status_words(int status) {
    static constexpr std::pair<int, const char*> kBits[] = {{0x01, "failing now"},
                                                            {0x80, "asks for the warning lamp"},
                                                            {0x08, "stored"},
                                                            {0x04, "seen, not stored yet"},
                                                            {0x02, "failed since it was switched on"},
                                                            {0x20, "failed since it was last cleared"},
                                                            {0x10, "not tested since it was last cleared"},
                                                            {0x40, "not tested since it was switched on"}};
    std::vector<std::string> out;
    for (const auto& [bit, words] : kBits)
        if (status & bit) out.emplace_back(words);
    return out.empty() ? "tested and good" : join(out, ", ");
}

std::string fault_words(const book::FaultRecord& record) {
    if (record.origin == Origin::not_read) return "not read (that is not the same as none)";
    std::vector<std::string> parts;
    for (const book::FaultSeen& f : record.entries) {
        std::string s = f.box.empty() ? f.code : f.box + " " + f.code;
        if (f.status) s += fmt::format(" ({}; status {:02X})", status_words(*f.status), *f.status & 0xFF);
        parts.push_back(s);
    }
    const auto unread = record.unread();
    return (parts.empty() ? "no entries" : join(parts, ", ")) + " (" + std::string(code(record.origin)) + ")" +
           (unread.empty() ? "" : "; not read: " + join(unread, ", ") + " (that is not the same as none)");
}

std::string cleared_words(const book::Clearing& c) {
    const std::string what = !c.answered      ? "asked for " + join(c.codes, ", ") + "; what became of it is not known"
                             : c.done.empty() ? "nothing: " + c.why
                                              : join(c.done, ", ");
    return fmt::format("{}: {}; allowed by {}", c.box, what, c.allowed_by);
}

std::string known_words(Origin origin) {
    switch (origin) {
        case Origin::read: return "read over the link";
        case Origin::read_in_part: return "read over the link, in part";
        case Origin::typed: return "typed from what the unit shows";
        case Origin::inferred: return "inferred from the release shown";
        case Origin::not_read: break;
    }
    return "not read";
}

std::string lasted_words(const book::Run& r) {
    if (!r.ended) return "";
    if (r.times && r.times->doubt == "clock") return "not known: the clock was set";
    if (r.times && r.times->doubt == "struck") return "not known";
    if (r.times) return human_duration(r.times->seconds);
    return human_duration(static_cast<double>(*r.ended - r.started) / 1000);
}

std::vector<std::string> mend_words(const book::Run& r) {
    std::vector<std::string> out;
    if (r.aftermath) {
        const book::Aftermath& a = *r.aftermath;
        std::vector<std::string> found;
        if (!a.power.empty()) found.push_back("power " + a.power);
        if (!a.now.empty()) found.push_back("then: " + a.now);
        if (!a.shows.empty()) found.push_back("it showed \"" + a.shows + "\"");
        if (!a.release.empty()) found.push_back("its version view showed " + a.release);
        if (!found.empty()) out.push_back(fmt::format("After the run to {}: {}.", r.release, join(found, "; ")));
    }
    for (const book::Attempt& t : r.attempts)
        out.push_back(fmt::format("After the run to {} broke, tried: {}; what came of it: {}{}.", r.release,
                                  code(t.kind), code(t.came), t.by.empty() ? "" : " (" + t.by + ")"));
    if (!r.advice.empty()) out.push_back("Advised: " + r.advice);
    return out;
}

std::vector<std::string> who_worked(const book::Job& job) {
    std::vector<std::string> out;
    const auto add = [&](const std::string& name) {
        if (!name.empty() && std::find(out.begin(), out.end(), name) == out.end()) out.push_back(name);
    };
    for (const book::Run& r : job.runs) {
        add(r.by);
        for (const book::Attempt& t : r.attempts) add(t.by);
    }
    return out;
}

}  // namespace fettle::handover
