// A bench supply read over TCP. It is only asked, never set and never switched: whatever a run's state is, no byte that
// leaves here can take the power away. Every call is bounded in time and comes back, however the supply behaves.
#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "fettle/base/supply_sample.h"
#include "fettle/link/scpi.h"

namespace fettle::link {

// All that can be read of a supply at once. Absent: it did not say, or said something that is no figure.
struct SupplyState {
    std::string maker_and_model;           // of *IDN?, "not said" when it gives none
    std::optional<double> set_V, limit_A;  // what it is set to
    std::optional<bool> output_on;
    std::optional<double> measured_V, measured_A;
    std::vector<std::string> errors;          // its own error queue, oldest first, at most 20
    std::vector<std::string> not_understood;  // "OUTP?: \"maybe\"": answers that are no answer
};

class ScpiSupply final : public SupplySource {
public:
    // answer_ms: how long one answer may take. The clock stamps the samples; it may be a rehearsal's.
    ScpiSupply(scpi::Address address, const Clock& clock, int answer_ms = 400);
    ~ScpiSupply() override;
    ScpiSupply(const ScpiSupply&) = delete;
    ScpiSupply& operator=(const ScpiSupply&) = delete;

    // One sample, or why there is none: supply-not-reachable, supply-silent, supply-nonsense (text, an endless line),
    // supply-no-reading (it says itself that there is none). After trouble the connection is made again, so that a late
    // answer is never taken for the next one's; while it stays away it is tried at most once a second, later once in
    // ten.
    Result<std::vector<SupplySample>> take() override;

    // Everything once, for the ready check. supply-not-reachable or supply-silent when not even the measured voltage
    // could be asked.
    Result<SupplyState> read();

private:
    struct Trouble {
        std::string code, problem;
    };
    using Line = tl::expected<std::string, Trouble>;
    Line ask(const std::string& question);
    Status connect();
    void hang_up();
    tl::unexpected<Error> trouble(const Trouble& t);

    const scpi::Address address_;
    const Clock& clock_;
    const std::chrono::milliseconds answer_;
    int fd_ = -1;
    int failures_ = 0;                                 // in a row
    std::chrono::steady_clock::time_point try_again_;  // not before
    Trouble last_;
};

}  // namespace fettle::link
