// For a build with the address sanitizer: what libraries keep until the program ends is no leak of ours. fontconfig
// keeps its patterns, and pango keeps fontconfig.
#ifdef __has_feature
#if __has_feature(address_sanitizer)
extern "C" const char* __lsan_default_suppressions();
extern "C" const char* __lsan_default_suppressions() {
    return "leak:libfontconfig\n";
}
#endif
#endif
