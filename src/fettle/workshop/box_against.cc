#include "fettle/workshop/box_against.h"

#include "fettle/book/against.h"

namespace fettle::workshop {

std::vector<Reason> reasons_against(const book::Job& job) {
    std::vector<Reason> out;
    for (const book::Otherwise& o : book::said_otherwise(job))
        out.push_back(
            {"other-" + o.item, o.others_say ? Verdict::cant_say : Verdict::halt,
             book::words_of(o) + ": look which box it is", o.box, "read over the link",
             Next{"if the box is right, identify it anew with the view that it shows: ",
                  propose(Act::identify, {wanted("label", "PLATE…"), wanted("view", "TEXT"), fettle::job(job.number)}),
                  ", then plan again"}});
    return out;
}

book::Job with_reading(book::Job job, const link::Inventory& inventory, Moment when) {
    auto& said = when == Moment::before ? job.said_before : job.said_after;
    for (const auto& b : inventory.boxes) {
        book::BoxSaid& s = said[b.role];
        if (b.market.known == link::Known::read) s.market = b.market.value;
        if (b.release.known == link::Known::read) s.release = b.release.value;
    }
    return job;
}

}  // namespace fettle::workshop
