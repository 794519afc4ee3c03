// What the technician told, read into values. One table of keys serves checking, reading and the documentation's list.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/ready/ready.h"

namespace fettle::ready {

struct Key {
    std::string name;                  // "supply.volts"; a name that ends in '.' takes a rest ("hold.doors")
    std::string wanted;                // "a number of volts from 0 to 60", "answers or dead"
    double low = 0, high = 0;          // figures
    std::vector<std::string> choices;  // words; empty: a figure
};
const std::vector<Key>& keys();

std::optional<double> figure(const Told& told, const std::string& key);
std::optional<bool> yes(const Told& told, const std::string& key, std::string_view yes_word, std::string_view no_word);

SupplyFigures supply_figures(const Told& told, bool on_bench);

// A control as tested: "answers", "dead" or "" (not tested). Looks for the act's own key first ("asks"), then for the
// touch area ("touch.lower-right"), then for the control ("knob"); where one of them says "dead", that counts.
std::string tested(const Told& told, const family::Act& ask, const std::string& control);

// "lower right" → "lower-right"
std::string key_part(std::string_view words);

}  // namespace fettle::ready
