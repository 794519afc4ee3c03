// Who sees a hold broken while a run is open: the voltage of its supply, and other testers on the bus. Shared by ready
// guard, which only guards, and watch, which has the same readings at hand. A breach is an entry of the journal before
// it is handed back; nothing here ends a run.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "fettle/base/supply_sample.h"
#include "fettle/link/bus_listener.h"
#include "fettle/ready/holds.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

NewEntry breach_entry(const Breach& b);
// "Hold broken (support): 9.8 V at the supply, from 13.5 V. Look now; do not cut power."
std::string breach_words(const Breach& b);

class RunWitness {
public:
    RunWitness(const Workshop& shop, const JobRun& run);

    // ADDR:PORT; listens only. Errors: of the address, and outside bus-not-heard.
    Status listen_at(const std::string& at);

    // New readings, and what was heard since the last call; in order of time. The same sender on the bus is said once.
    // An error is the journal's: what was seen is in `kept` all the same.
    Status see(const std::vector<SupplySample>& samples, std::vector<Breach>& kept);
    // Readings that an earlier watch recorded: only what the journal does not have yet comes of them, for that watch
    // may have been killed between the reading and the entry.
    Status see_again(const std::vector<SupplySample>& samples, std::vector<Breach>& kept);

private:
    Status keep(Breach b, std::vector<Breach>& kept);

    const Workshop& context_;
    const std::string number_;
    const std::string bus_hold_;
    ready::VoltageWitness voltage_;
    std::optional<link::BusListener> bus_;
    std::vector<std::string> heard_;
    std::vector<std::string> known_;  // breaches of the journal that see_again has not met yet
};

}  // namespace fettle::workshop
