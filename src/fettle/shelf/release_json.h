// Descriptions of releases as the texts that the catalogue keeps. What cannot be read back is outside_error
// "shelf-damaged".
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/result.h"
#include "fettle/base/verdict.h"
#include "fettle/family/release.h"
#include "fettle/shelf/shelf.h"

namespace fettle::shelf {

// All but the pieces, and what a listing says of these: their number and bytes, the boxes and issues they are for.
std::string outline_text(const family::Release& release);
Result<Outline> outline_from(std::string_view text);

std::string pieces_text(const std::vector<family::Piece>& pieces);
Result<std::vector<family::Piece>> pieces_from(std::string_view text);

std::string judgement_text(const Judgement& judgement);
Result<Judgement> judgement_from(std::string_view text);

std::string codes_text(const std::vector<std::string>& codes);
Result<std::vector<std::string>> codes_from(std::string_view text);

}  // namespace fettle::shelf
