#include "fettle/workshop/link_forms.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/label.h"

namespace fettle::workshop {
namespace {

using link::Fact;
using link::Known;

void odd(Fact& f, const char* what) {
    f = {Known::unreadable, {}, fmt::format("\"{}\" has not the form of {} of this family", printable(f.value), what)};
}

// The view's example with this text in the place of the field still reads as a view with that field.
bool fits_view(const family::LabelRule& view, const std::string& field, const std::string& text) {
    const auto matcher = family::LabelMatcher::make(view);
    if (!matcher || view.examples.empty()) return true;
    std::string example = view.examples.front();
    const auto fields = matcher->fields(example);
    if (!fields) return true;
    const auto at = std::find_if(fields->begin(), fields->end(), [&](const auto& f) { return f.name == field; });
    if (at == fields->end()) return true;
    example.replace(at->at, at->text.size(), text);
    const auto again = matcher->fields(example);
    return again && family::field_text(*again, field) == text;
}

}  // namespace

void hold_against_forms(link::BoxInventory& b, const family::Family& family) {
    const family::Box* box = family.box(b.role);
    if (b.plate.known == Known::read && box) {
        const auto matcher = family::LabelMatcher::make(box->plate);
        if (matcher && !matcher->accepts(trim(b.plate.value))) odd(b.plate, "the box's plate");
    }
    if (b.release.known == Known::read) {
        const std::string release(trim(b.release.value));
        const bool ordered = family.order.rule.empty() || family.order.rule == "list" ||
                             family::compare_versions(family.order, release, release).has_value();
        if (!ordered || !fits_view(family.view, "release", release)) odd(b.release, "a release");
    }
    if (b.market.known == Known::read && !fits_view(family.view, "market", std::string(trim(b.market.value))))
        odd(b.market, "a market");
}

}  // namespace fettle::workshop
