#include "fettle/workshop/box_against.h"

#include <fmt/core.h>

#include "fettle/book/against.h"

namespace fettle::workshop {

std::vector<Reason> reasons_against(const book::Job& job) {
    std::vector<Reason> out;
    for (const book::Otherwise& o : book::said_otherwise(job))
        out.push_back(
            {"other-" + o.item, o.others_say ? Verdict::cant_say : Verdict::halt,
             fmt::format("{}: look which box it is; if the box is right, identify anew with the view that it shows "
                         "(fettle identify PLATE… --view TEXT --job {}), then plan again",
                         book::words_of(o), job.number),
             o.box, "read over the link"});
    return out;
}

book::Job with_reading(book::Job job, const link::Inventory& inventory, const std::string& when) {
    auto& said = when == "before" ? job.said_before : job.said_after;
    for (const auto& b : inventory.boxes) {
        book::BoxSaid& s = said[b.role];
        if (b.market.known == link::Known::read) s.market = b.market.value;
        if (b.release.known == link::Known::read) s.release = b.release.value;
    }
    return job;
}

}  // namespace fettle::workshop
