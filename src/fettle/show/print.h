// How an answer reaches the person or the program that asked: text on standard output, or exactly one JSON document.
#pragma once

#include <string>
#include <string_view>

#include "fettle/base/result.h"
#include "fettle/show/answer.h"

namespace fettle::show {

// Headline, text, then verdict and reasons, each reason with what it rests on.
std::string as_text(const Answer& answer, const ShowAct& shown);

// {"fettle": 1, "command": …, "verdict": …, "reasons": […], "headline": …, "data": {…}}; a failure has an "error" too.
std::string as_json(const std::string& command, const Answer& answer, const ShowAct& shown);
std::string as_json(const std::string& command, const Error& error, const ShowAct& shown);

// Lines no wider than that, wrapped at blanks; lists keep their leading columns, and what has no blank stays whole.
std::string to_page(const std::string& text, std::size_t width);

// Lines of text with everything but the line ends made visible: names and texts of other people's files reach the
// terminal only so.
std::string harmless(const std::string& text);

// Exit codes of docs/commands.md.
int exit_code(const Answer& answer);
int exit_code(const Error& error);

}  // namespace fettle::show
