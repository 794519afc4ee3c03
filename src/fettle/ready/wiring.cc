#include "fettle/ready/wiring.h"

#include <array>
#include <cmath>
#include <utility>

namespace fettle::ready {
namespace {

// IEC 60228 Table 3, class 5, plain copper: section in mm², greatest resistance in ohm per km at 20 °C.
constexpr std::array<std::pair<double, double>, 22> kClass5 = {
    {{0.5, 39.0},  {0.75, 26.0},  {1, 19.5},     {1.5, 13.3},   {2.5, 7.98},   {4, 4.95},    {6, 3.3},     {10, 1.91},
     {16, 1.21},   {25, 0.78},    {35, 0.554},   {50, 0.386},   {70, 0.272},   {95, 0.206},  {120, 0.161}, {150, 0.129},
     {185, 0.106}, {240, 0.0801}, {300, 0.0641}, {400, 0.0486}, {500, 0.0384}, {630, 0.0287}}};

}  // namespace

std::optional<double> loop_ohm(double one_way_m, double section_mm2, double celsius) {
    for (const auto& [section, ohm_km] : kClass5) {
        if (std::abs(section - section_mm2) > 1e-9) continue;
        return 2 * one_way_m * ohm_km / 1000 * (234.5 + celsius) / 254.5;
    }
    return std::nullopt;
}

const std::vector<double>& lead_sections() {
    static const std::vector<double> all = [] {
        std::vector<double> out;
        for (const auto& row : kClass5) out.push_back(row.first);
        return out;
    }();
    return all;
}

}  // namespace fettle::ready
