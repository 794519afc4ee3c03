#include "fettle/workshop/box_against.h"

#include "fettle/base/text.h"
#include "fettle/book/against.h"

namespace fettle::workshop {

std::vector<Reason> reasons_against(const book::Job& job) {
    std::vector<Reason> out;
    for (const book::Otherwise& o : book::said_otherwise(job))
        out.push_back(
            {"other-" + o.item, o.others_say ? Verdict::cant_say : Verdict::halt,
             book::words_of(o) + ": look which box it is", o.box, "read over the link",
             Next{"if the box is right, identify it again with the view that it shows: ",
                  propose(Act::identify, {wanted("label", "PLATE…"), wanted("view", "TEXT"), fettle::job(job.number)}),
                  ", then plan again"}});
    return out;
}

std::optional<Reason> vin_against(const book::Job& job, const std::string& vin, const std::string& where) {
    if (job.vin.empty() || vin.empty() || vin == job.vin) return std::nullopt;
    return Reason{"other-vin", Verdict::cant_say,
                  "it gives the VIN " + printable(vin) + ", the job has " + job.vin +
                      ": look which vehicle is connected; a used box may keep that of its former one",
                  where, "read over the link"};
}

std::optional<Reason> offered_before(const book::Job& job) {
    if (job.offered_otherwise.empty()) return std::nullopt;
    const std::vector<std::string>& all = job.offered_otherwise;
    return Reason{"offered-surprise",
                  Verdict::halt,
                  "the box offered something else than planned: " + all.front() +
                      (all.size() > 1 ? ", and " + std::to_string(all.size() - 1) + " more" : "") +
                      "; do not start before it offers what is planned",
                  "offered list",
                  "the list and the package index",
                  Next{"hold its list against the plan again: ",
                       propose(Act::plan, {fettle::job(job.number), wanted("offered", "FILE")})}};
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
