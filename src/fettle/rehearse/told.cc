#include "fettle/rehearse/told.h"

namespace fettle::rehearse {
namespace {

struct ActOf {
    Act operator()(const workshop::TakenIn*) const { return Act::open_job; }
    Act operator()(const workshop::Shelving*) const { return Act::add_to_shelf; }
    Act operator()(const workshop::Identified*) const { return Act::identify; }
    Act operator()(const workshop::BoxesRead*) const { return Act::read_boxes; }
    Act operator()(const NoAnswer&) const { return Act::read_boxes; }
    Act operator()(const workshop::MemoryRead*) const { return Act::read_faults; }
    Act operator()(const workshop::Planned*) const { return Act::plan; }
    Act operator()(const workshop::LaidCard*) const { return Act::lay_card; }
    Act operator()(const workshop::AuditedCard*) const { return Act::audit_card; }
    Act operator()(const workshop::Answered*) const { return Act::answer; }
    Act operator()(const workshop::ReadyChecked*) const { return Act::check_ready; }
    Act operator()(const workshop::Accepted*) const { return Act::accept; }
    Act operator()(const workshop::Started*) const { return Act::watch; }
    Act operator()(const workshop::Mended*) const { return Act::mend; }
    Act operator()(const workshop::AsLeft*) const { return Act::after; }
    Act operator()(const workshop::FaultsKept*) const { return Act::keep_faults; }
    Act operator()(const workshop::Proved*) const { return Act::prove; }
    Act operator()(const workshop::ReturnedThing*) const { return Act::return_thing; }
    Act operator()(const workshop::EndDone*) const { return Act::open_points; }
    Act operator()(const workshop::HandedOver*) const { return Act::make_sheet; }
    Act operator()(const workshop::SheetChecked*) const { return Act::check_sheet; }
};

}  // namespace

Proposal Done::act() const {
    return propose(std::visit(ActOf{}, outcome), said);
}

}  // namespace fettle::rehearse
