// How the catalogue keeps what an index told: a release as one JSON text, and back.
#pragma once

#include <string>
#include <string_view>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/release.h"

namespace fettle::shelf {

std::string release_text(const family::Release& release);
// outside_error "shelf-damaged" when the text is not what release_text writes.
Result<family::Release> release_from(std::string_view text);

std::string judgement_text(const Judgement& judgement);
Result<Judgement> judgement_from(std::string_view text);

}  // namespace fettle::shelf
