// Cards: laid, audited, and the devices that may be one.
#pragma once

#include <string>
#include <vector>

#include "fettle/show/answer.h"
#include "fettle/workshop/audit_card.h"
#include "fettle/workshop/card_device.h"
#include "fettle/workshop/lay_card.h"

namespace fettle::show {

Answer laid(const workshop::LaidCard& card);
Answer audited(const workshop::AuditedCard& audited);
// all: also what may not be a card, with the reason.
Answer devices(const workshop::DeviceList& list, bool all);

// One device as a person looks at it before it is erased: model, serial, size, and what is on it.
std::string device_page(const card::FoundDevice& device, const std::vector<std::string>& on_it);
// The same with what would be lost and what is to be minded: shown before somebody is asked.
std::string erase_page(const workshop::EraseQuestion& question);

}  // namespace fettle::show
