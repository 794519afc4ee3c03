// Facts of a job that the journal keeps and the computations use alike, and the few words that decide something about
// them. Each is spelled in journals and JSON as code() says.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace fettle {

// Where what is known of a box comes from, from nothing to its own word. inferred: from the index of the release that
// it shows. "not read" is a state of its own and never means "none".
enum class Origin { not_read, inferred, typed, read_in_part, read };
std::string_view words(Origin o);  // "not read", "inferred", "typed", "read in part", "read over the link"
std::string_view code(Origin o);   // the same, but "read"
std::optional<Origin> origin_named(std::string_view code);

enum class Place { bench, vehicle };
std::string_view code(Place place);  // "bench", "vehicle"
std::optional<Place> place_named(std::string_view code);

// One piece as a box has it.
struct Installed {
    std::string box, name, version;
    std::string sha256{};  // where the box can tell, or the index did; else empty
};

// When somebody must act at the box, in seconds from the start of the step: one in ten before, nine in ten by.
struct HandsOn {
    std::string act;
    double from_s = 0, to_s = 0;
};

}  // namespace fettle
