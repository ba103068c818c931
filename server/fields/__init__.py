"""The field tables: what is recorded, one row a field. Forms, checks, pages and exports are made from them."""
