// Inside the room: one pass over the figures of a supply. The mains side is in supply_mains.cc, the battery in
// supply_battery.cc; docs/ready.md has the formulas with their sources.
#pragma once

#include <optional>
#include <string>

#include "fettle/ready/supply.h"

namespace fettle::ready {

class Judge {
public:
    // if_kind: the battery's, where it is not said.
    Judge(const family::Family& family, const Need& need, const SupplyFigures& figures, BatteryKind if_kind);

    SupplyAnswer run();

private:
    // The charge that counts, and the kind whose voltages belong to it.
    struct Charge {
        double share = 0;
        BatteryKind kind = BatteryKind::flooded;
        std::string words;
    };

    void reason(std::string code, Verdict v, std::string text, std::string rests);
    std::string how() const { return f_.read ? "read from the supply" : "typed"; }
    double peak_A() const;
    void mains();
    void current_limit();
    // What stands at the terminals: the setting, or less when less was measured there.
    double terminals_V() const;
    void voltage();
    // Volts at the box at a known current say what leads and contacts have together. At next to no current they say
    // nothing: a tenth of a volt of the meter would become ohms.
    bool measured_at_box();
    void lead_not_said(double spare_V);
    void at_box(double volts, const std::string& basis);
    std::optional<Charge> charge();
    void wanted(const std::optional<double>& figure, const char* key, const char* code, const char* text);
    // What the rated capacity is divided by. Where the temperature is not said, or colder than the table goes, its last
    // row counts: it may be as cold as that, and less is never left for not knowing.
    double cold();
    void battery();
    // Of battery, wiring and contacts together, from a voltage under a known load against the rested one.
    std::optional<double> resistance(const Charge& have) const;
    void judge_battery(const Charge& have, double floor, double capacity_Ah, const std::optional<double>& ohm);
    void say_voltage(Verdict v);
    // Nothing was measured under load: how much battery, wiring and contacts may have before it is too little.
    void voltage_by_room(const Charge& have, double capacity_Ah);

    const Need& need_;
    const SupplyFigures& f_;
    BatteryKind if_kind_;
    double lowest_V_;
    std::string rests_on_;
    SupplyAnswer out_;
};

}  // namespace fettle::ready
