"""Inputs that are broken, odd or meant to harm, by reader and class, each with the sentence it must meet."""
