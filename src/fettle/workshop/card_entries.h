// Cards in a job's journal: `laid`, `audited` and `gauged` of docs/journal.md, and the figures that answers show as
// well.
#pragma once

#include <boost/json/object.hpp>
#include <string>

#include "fettle/card/audit.h"
#include "fettle/card/devices.h"
#include "fettle/workshop/audit_card.h"
#include "fettle/workshop/lay_card.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

boost::json::object laid_as_json(const LaidCard& laid);
boost::json::object audit_as_json(const card::Audit& audit, const std::string& card);
boost::json::object device_as_json(const card::FoundDevice& device);

NewEntry laid_entry(const LaidCard& laid);
NewEntry audited_entry(const AuditedCard& audited);
NewEntry gauged_entry(const card::FoundDevice& device, const Judgement& judgement);

}  // namespace fettle::workshop
