#include "fettle/base/facts.h"

namespace fettle {

std::string_view code(Origin o) {
    switch (o) {
        case Origin::not_read: return "not read";
        case Origin::inferred: return "inferred";
        case Origin::typed: return "typed";
        case Origin::read_in_part: return "read in part";
        case Origin::read: return "read";
    }
    return "not read";
}

std::string_view words(Origin o) {
    return o == Origin::read ? std::string_view("read over the link") : code(o);
}

std::optional<Origin> origin_named(std::string_view word) {
    for (const Origin o : {Origin::not_read, Origin::inferred, Origin::typed, Origin::read_in_part, Origin::read})
        if (word == code(o)) return o;
    return std::nullopt;
}

std::string_view code(Place place) {
    return place == Place::bench ? "bench" : "vehicle";
}

std::optional<Place> place_named(std::string_view word) {
    for (const Place p : {Place::bench, Place::vehicle})
        if (word == code(p)) return p;
    return std::nullopt;
}

}  // namespace fettle
