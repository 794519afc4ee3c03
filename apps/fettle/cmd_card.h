// fettle card: lay a release, audit any card, list devices, gauge what a card really holds.
#pragma once

#include <string>

#include "context.h"
#include "fettle/workshop/audit_card.h"
#include "fettle/workshop/gauge.h"
#include "fettle/workshop/lay_card.h"

namespace fettle::app {

struct CardLayOptions {
    workshop::LayRequest ask;  // a device is erased by --yes-erase SERIAL, or by who is asked at the terminal
    std::string size;          // --size: "512M", "8G", bytes; empty: the smallest that fits
};
Result<Answer> card_lay(const Context& context, const CardLayOptions& options);

Result<Answer> card_audit(const Context& context, const workshop::AuditRequest& request);

struct CardDevicesOptions {
    std::string family;  // --family ID: by what its boxes take
    bool all = false;    // --all: also what is no card
};
Result<Answer> card_devices(const Context& context, const CardDevicesOptions& options);

Result<Answer> card_gauge(const Context& context, const workshop::GaugeRequest& request);

// "536870912", "512M", "8G", "900K" (powers of 1024, a final "iB" or "B" is allowed). Usage error "card-size-wrong".
Result<std::uint64_t> size_from(const std::string& text);

}  // namespace fettle::app
