"""Raw input and output: cells of CSV and TOML that know where they came from, and folders written whole.

It knows nothing of motorcycles and imports only the modules at the top of the package; nothing that computes may
import it. Start with `cells`, then `tables`; `whole_file` and `folder_writing` write, by way of `drafts` and
`held_files`.
"""
