#include "fettle/workshop/box_known.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::workshop {

using link::BoxFaults;
using link::BoxInventory;
using link::Known;

std::string serial_of(const book::Job& job, const std::string& role) {
    for (const auto* said : {&job.said_after, &job.said_before})
        if (const auto s = said->find(role); s != said->end() && !s->second.serial.empty()) return s->second.serial;
    return {};
}

std::optional<Stranger> other_box(const book::Job& job, const std::vector<BoxInventory>& boxes) {
    for (const BoxInventory& b : boxes) {
        const auto of_job = job.plates.find(b.role);
        const std::string serial = serial_of(job, b.role);
        std::string what;
        if (of_job != job.plates.end() && b.plate.known == Known::read && trim(b.plate.value) != of_job->second)
            what = fmt::format("its plate is {}, that of the job {}", printable(b.plate.value), of_job->second);
        else if (!serial.empty() && b.serial.known == Known::read && b.serial.value != serial)
            what = fmt::format("its serial number is {}, {} was read before", printable(b.serial.value),
                               printable(serial));
        if (what.empty()) continue;
        return Stranger{b.role,
                        true,
                        {"other-box", Verdict::halt, what + ": look which box stands at that address", b.role,
                         "read over the link"}};
    }
    return std::nullopt;
}

std::optional<Stranger> nobody_known(const book::Job& job, const std::vector<BoxInventory>& boxes,
                                     const std::vector<BoxFaults>& memories) {
    for (const BoxInventory& b : boxes) {
        const bool memory = std::any_of(memories.begin(), memories.end(),
                                        [&](const BoxFaults& m) { return m.role == b.role && m.known == Known::read; });
        const bool was_cleared = std::any_of(job.clearings.begin(), job.clearings.end(),
                                             [&](const book::Clearing& c) { return c.box == b.role; });
        const bool no_plate = b.plate.known != Known::read;
        const bool no_serial = b.serial.known != Known::read && !serial_of(job, b.role).empty();
        if (!memory || !was_cleared || (!no_plate && !no_serial)) continue;
        return Stranger{b.role,
                        false,
                        {"identity-not-read", Verdict::cant_say,
                         fmt::format("entries of it were cleared, and its {} was not read again: read it when it "
                                     "gives that, too",
                                     no_plate ? "plate" : "serial number"),
                         b.role, "read over the link"}};
    }
    return std::nullopt;
}

}  // namespace fettle::workshop
